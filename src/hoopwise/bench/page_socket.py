"""One page's socket: greets it, checks each frame's form, hands it to the desk."""

import asyncio
import contextlib
import json
from typing import Any, Final

from pydantic import ValidationError
from starlette.websockets import WebSocket, WebSocketDisconnect

from hoopwise import __version__
from hoopwise.bench.desk import Desk
from hoopwise.bench.protocol import MESSAGE, VERSION
from hoopwise.bench.steps import RefusedError
from hoopwise.bench.wire import MAX_BYTES, unpack
from hoopwise.errors import HoopwiseError

MAX_TEXT: Final = 16384
MAX_REFUSED: Final = 50
"""A page that sends this many frames in bad form is cut off."""
GREET_S: Final = 10.0
_SEND_S: Final = 5.0


class PageSocket:
    """The server's end of one connection."""

    def __init__(self, socket: WebSocket, desk: Desk) -> None:
        self._socket = socket
        self._desk = desk
        self._malformed = 0
        self._sending = asyncio.Lock()

    async def serve(self) -> None:
        """Talk until the page leaves; the first message must be a hello."""
        await self._socket.accept()
        # Cancelled only when the whole bench stops: the page will come back by itself.
        ended = (WebSocketDisconnect, TimeoutError, RuntimeError, asyncio.CancelledError)
        with contextlib.suppress(*ended):
            if not await asyncio.wait_for(self._greet(), GREET_S):
                return
            await self._desk.join(self.tell)
            try:
                while self._malformed < MAX_REFUSED:
                    await self._one()
                await self._socket.close(1008, "too many malformed frames")
            finally:
                self._desk.leave(self.tell)

    async def tell(self, event: dict[str, Any]) -> None:
        """Send an event; a page that does not take it within 5 s is given up."""
        text = json.dumps({"v": VERSION, **event}, separators=(",", ":"))
        async with self._sending:
            await asyncio.wait_for(self._socket.send_text(text), _SEND_S)

    async def _greet(self) -> bool:
        frame = await self._frame()
        try:
            if isinstance(frame, bytes):
                raise ValueError("sound before hello")
            message = MESSAGE.validate_json(frame)
            if message.kind != "hello":
                raise ValueError(f"{message.kind} before hello")
        except ValueError:
            await self._refuse("no_hello", "The first message must be a hello of version 1.")
            await self._socket.close(1008, "no hello")
            return False
        await self.tell({"kind": "welcome", "server": __version__})
        return True

    async def _frame(self) -> str | bytes:
        received = await self._socket.receive()
        if received["type"] == "websocket.disconnect":
            raise WebSocketDisconnect(received.get("code", 1000))
        text, data = received.get("text"), received.get("bytes")
        return text if text is not None else data or b""

    async def _one(self) -> None:
        frame = await self._frame()
        try:
            if isinstance(frame, bytes):
                await self._desk.hear(unpack(frame))
                return
            if len(frame) > MAX_TEXT:
                raise ValueError(f"a message of {len(frame)} characters; {MAX_TEXT} are legal")
            await self._desk.take(MESSAGE.validate_json(frame))
        except RefusedError as error:
            await self._refuse(error.code, str(error))
        except ValidationError as error:
            self._malformed += 1
            first = error.errors(include_url=False, include_context=False)[0]
            where = ".".join(str(part) for part in first["loc"])
            await self._refuse("malformed", f"{where or 'message'}: {first['msg']}.")
        except (HoopwiseError, ValueError) as error:
            self._malformed += 1
            await self._refuse("malformed", str(error))

    async def _refuse(self, code: str, sentence: str) -> None:
        await self.tell({"kind": "refused", "code": code, "sentence": sentence[:400]})


WS_MAX_BYTES: Final = max(MAX_BYTES, 4 * MAX_TEXT)
