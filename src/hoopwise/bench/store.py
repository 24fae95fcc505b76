"""What the bench keeps on disk: one session file and the takes, in the user's data folder."""

import hashlib
import io
import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter, ValidationError

from hoopwise.bench.protocol import State
from hoopwise.bench.session import Notice, Session
from hoopwise.errors import RecordingError

_SESSION: Final[TypeAdapter[Session]] = TypeAdapter(Session)
_NAME: Final = re.compile(r"[0-9a-f]{16}")
FORMAT: Final = 1


class Store:
    """The bench's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._takes = folder / "takes"
        self._takes.mkdir(parents=True, exist_ok=True)
        self._file = folder / "session.json"

    def load(self) -> Session:
        """The session as it was; a bare one when there is none or it cannot be read."""
        try:
            kept = json.loads(self._file.read_text(encoding="utf-8"))
            if kept["format"] != FORMAT:
                raise ValueError(f"format {kept['format']}")
            session = _SESSION.validate_python(kept["session"])
        except FileNotFoundError:
            return Session()
        except (OSError, ValueError, KeyError, TypeError, ValidationError):
            aside = self._put_aside("unreadable")
            return Session(
                notice=Notice(
                    "unreadable",
                    f"The last session could not be read; it was put aside as {aside.name}.",
                )
            )
        if session.state is State.READING and session.round is not None:
            back = State.SORTING if session.round.source == "files" else State.LISTENING
            return _again(session, back)
        return session

    def save(self, session: Session) -> None:
        """Write the session so that a crash leaves either the old or the new one."""
        kept = {"format": FORMAT, "session": _SESSION.dump_python(session, mode="json")}
        fresh = self._file.with_suffix(".new")
        with fresh.open("w", encoding="utf-8") as file:
            json.dump(kept, file)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._file)

    def put_away(self) -> None:
        """Keep the session file of work that is over under its own name."""
        if self._file.exists():
            self._put_aside("past")

    def _put_aside(self, why: str) -> Path:
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
        aside = self.folder / f"{why}-{stamp}.json"
        self._file.replace(aside)
        return aside

    def keep_take(self, samples: NDArray[np.float32] | NDArray[np.float64], rate: int) -> str:
        """Store a take as FLAC (24 bit) and return its name, made from its content."""
        import soundfile

        sound = np.clip(np.asarray(samples, dtype=np.float64), -1.0, 1.0 - 2.0**-23)
        file = io.BytesIO()
        soundfile.write(file, sound, rate, format="FLAC", subtype="PCM_24")
        data = file.getvalue()
        name = hashlib.sha256(data).hexdigest()[:16]
        path = self._takes / f"{name}.flac"
        if not path.exists():
            fresh = path.with_suffix(".new")
            fresh.write_bytes(data)
            fresh.replace(path)
        return name

    def take_path(self, name: str) -> Path:
        """File of a take.

        Raises
        ------
        RecordingError
            The name is none, or there is no such take.
        """
        path = self._takes / f"{name}.flac"
        if not _NAME.fullmatch(name) or not path.is_file():
            raise RecordingError("There is no take of that name.")
        return path

    def load_take(self, name: str) -> tuple[NDArray[np.float64], int]:
        """Samples and rate of a take."""
        import soundfile

        samples, rate = soundfile.read(self.take_path(name), dtype="float64")
        return np.asarray(samples, dtype=np.float64), int(rate)


def _again(session: Session, back: State) -> Session:
    """A session that was cut off while reading goes back to its taps."""
    from dataclasses import replace

    return replace(session, state=back)


def describe(session: Session) -> dict[str, Any]:
    """The session as plain JSON values."""
    plain: dict[str, Any] = _SESSION.dump_python(session, mode="json")
    return plain
