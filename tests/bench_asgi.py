"""A bare ASGI client: sends exactly the path and headers that a test says, nothing more."""

import asyncio
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import unquote, urlsplit


@dataclass
class Answer:
    """What came back."""

    status_code: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8", "replace")

    def json(self) -> Any:
        return json.loads(self.body)


@dataclass
class Client:
    """Talks to an app as if from one address."""

    app: Any
    base: str
    cookies: dict[str, str] = field(default_factory=dict)

    def _scope(self, kind: str, path: str, headers: dict[str, str]) -> dict[str, Any]:
        address = urlsplit(self.base)
        plain, _, query = path.partition("?")
        sent = {"host": address.netloc, **headers}
        if self.cookies and "cookie" not in sent:
            sent["cookie"] = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        scheme = address.scheme if kind == "http" else address.scheme.replace("http", "ws")
        return {
            "type": kind,
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "GET",
            "scheme": scheme,
            "path": unquote(plain),
            "raw_path": plain.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(k.lower().encode(), v.encode()) for k, v in sent.items() if v != "(none)"],
            "client": ("127.0.0.1", 5),
            "server": (address.hostname, address.port),
            "subprotocols": [],
            "state": {},
        }

    def get(self, path: str, headers: dict[str, str] | None = None) -> Answer:
        return self.request("GET", path, headers or {}, [b""])

    def post(
        self, path: str, content: bytes | Iterable[bytes], headers: dict[str, str] | None = None
    ) -> Answer:
        parts = [content] if isinstance(content, bytes) else list(content)
        sized = {"content-length": str(len(content))} if isinstance(content, bytes) else {}
        return self.request("POST", path, {**sized, **(headers or {})}, parts)

    def request(
        self, method: str, path: str, headers: dict[str, str], parts: list[bytes]
    ) -> Answer:
        scope = {**self._scope("http", path, headers), "method": method}
        return asyncio.run(asyncio.wait_for(self._talk(scope, parts), 20))

    async def _talk(self, scope: dict[str, Any], parts: list[bytes]) -> Answer:
        left = list(parts)
        told: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            if not left:
                return {"type": "http.disconnect"}
            body = left.pop(0)
            return {"type": "http.request", "body": body, "more_body": bool(left)}

        async def send(message: dict[str, Any]) -> None:
            told.append(message)

        await self.app(scope, receive, send)
        start = next(m for m in told if m["type"] == "http.response.start")
        headers = {k.decode().lower(): v.decode() for k, v in start["headers"]}
        if "set-cookie" in headers:
            name, _, rest = headers["set-cookie"].partition("=")
            self.cookies[name] = rest.split(";")[0]
        body = b"".join(m.get("body", b"") for m in told if m["type"] == "http.response.body")
        return Answer(start["status"], headers, body)

    def socket_is_refused(self, path: str, headers: dict[str, str]) -> bool:
        """Whether a WebSocket is closed before it is accepted."""
        return asyncio.run(asyncio.wait_for(self._knock(path, headers), 20))

    async def _knock(self, path: str, headers: dict[str, str]) -> bool:
        waiting: list[dict[str, Any]] = [
            {"type": "websocket.connect"},
            {"type": "websocket.disconnect", "code": 1000},
        ]
        told: list[str] = []

        async def receive() -> dict[str, Any]:
            return waiting.pop(0)

        async def send(message: dict[str, Any]) -> None:
            told.append(message["type"])

        await self.app(self._scope("websocket", path, headers), receive, send)
        return told[0] == "websocket.close"
