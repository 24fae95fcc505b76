"""The page's own and vendored files, served under a hash of their content."""

import hashlib
import mimetypes
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).parent / "static"
TEMPLATES: Final = Path(__file__).parent / "templates"
_TYPES: Final = {".js": "text/javascript", ".woff2": "font/woff2", ".css": "text/css"}


@dataclass(frozen=True)
class Asset:
    """One static file."""

    data: bytes
    media_type: str


@cache
def assets() -> dict[str, Asset]:
    """Every static file by its path below ``static/``; nothing else can be served."""
    found = {}
    for path in sorted(FOLDER.rglob("*")):
        if path.is_file() and path.suffix in (".js", ".css", ".woff2", ".svg", ".txt", ".md"):
            kind = _TYPES.get(path.suffix) or mimetypes.guess_type(path.name)[0] or "text/plain"
            found[path.relative_to(FOLDER).as_posix()] = Asset(path.read_bytes(), kind)
    return found


@cache
def content_hash() -> str:
    """Hash of all static files together: part of their address, so they may be cached."""
    digest = hashlib.sha256()
    for name, asset in assets().items():
        digest.update(name.encode() + b"\0" + asset.data)
    return digest.hexdigest()[:16]
