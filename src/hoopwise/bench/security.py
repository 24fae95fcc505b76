"""Who may talk to the bench: hosts, origins, pairing, and the headers of every answer."""

import hmac
import secrets
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE: Final = "hoopwise_pair"
PAIRING_S: Final = 600.0
"""How long a pairing token may be used."""

POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "font-src 'self'",
        "connect-src 'self'",
        "media-src 'self' blob:",
        "worker-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
        "require-trusted-types-for 'script'",
    )
)
HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), screen-wake-lock=(self), camera=(), geolocation=()",
}


@dataclass
class Pairing:
    """Tokens that let a phone in; each is known only as long as it is valid."""

    clock: Callable[[], float] = time.monotonic
    _token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    _until: float = 0.0
    _keys: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """The first token's time begins now."""
        self._until = self.clock() + PAIRING_S

    def token(self) -> tuple[str, float]:
        """A valid token and the seconds it has left; a fresh one if the last ran out."""
        if self.clock() >= self._until:
            self._token = secrets.token_urlsafe(24)
            self._until = self.clock() + PAIRING_S
        return self._token, self._until - self.clock()

    def redeem(self, token: str) -> str | None:
        """A key for a valid token, which is then used up; None for any other."""
        same = hmac.compare_digest(token.encode(), self._token.encode())
        if not same or self.clock() >= self._until:
            return None
        self._until = 0.0
        key = secrets.token_urlsafe(24)
        self._keys = [*self._keys[-7:], key]
        return key

    def knows(self, key: str) -> bool:
        """Whether a key was given to a phone; compared in constant time."""
        matches = [hmac.compare_digest(key.encode(), known.encode()) for known in self._keys]
        return any(matches)


class Guard:
    """ASGI middleware: refuses strangers before any route sees them."""

    def __init__(self, app: ASGIApp, origins: Iterable[str], pairing: Pairing | None) -> None:
        self._app = app
        self._origins = frozenset(origins)
        self._hosts = frozenset(urlsplit(origin).netloc for origin in self._origins)
        self._pairing = pairing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it with the reason."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is None:
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await _refuse_socket(receive, send)
        else:
            status, sentence = refusal
            answer = JSONResponse({"error": sentence}, status_code=status)
            await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        if headers.get("host", "") not in self._hosts:
            return 421, "This server does not answer to that host name."
        origin = headers.get("origin")
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if changes and origin is None:
            return 403, "A request that changes something must say where it comes from."
        if origin is not None and origin not in self._origins:
            return 403, "Requests from other pages are refused."
        if origin is not None and urlsplit(origin).netloc != headers.get("host"):
            return 403, "Requests from other pages are refused."
        if scope["scheme"] in ("https", "wss") and not self._is_paired(scope, headers):
            return 401, (
                "This phone is not paired. Scan the code that the bench shows on the computer; "
                "a code works once and for ten minutes."
            )
        return None

    def _is_paired(self, scope: Scope, headers: Headers) -> bool:
        """Over the network only paired phones get in; the pairing address itself is open."""
        if scope["type"] == "http" and scope["path"].startswith("/pair/"):
            return True
        jar: SimpleCookie = SimpleCookie()
        try:
            jar.load(headers.get("cookie", ""))
        except Exception:  # a cookie that cannot be parsed is no cookie
            return False
        kept = jar.get(COOKIE)
        return self._pairing is not None and kept is not None and self._pairing.knows(kept.value)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sending


async def _refuse_socket(receive: Receive, send: Send) -> None:
    await receive()
    await send({"type": "websocket.close", "code": 1008, "reason": "refused"})
