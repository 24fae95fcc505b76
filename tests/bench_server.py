"""A bench that runs in a thread of the test, on a free port, and can be killed."""

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import uvicorn

from hoopwise.bench.app import Phone, build_app
from hoopwise.bench.desk import Desk
from hoopwise.bench.engine import Engine
from hoopwise.bench.page_socket import WS_MAX_BYTES
from hoopwise.bench.serve import bound
from hoopwise.bench.store import Store

SNARE: dict[str, Any] = {
    "drum": {"name": "test snare", "kind": "snare", "diameter_in": 14, "depth_in": 6, "rods": 10},
    "batter": {"film_mil": 10},
    "snare_side": {"film_mil": 3},
}
TOM: dict[str, Any] = {
    "drum": {"name": "test tom", "kind": "tom", "diameter_in": 12, "depth_in": 8, "rods": 6},
    "batter": {"film_mil": 10},
    "resonant": {"film_mil": 10},
}


class BenchServer:
    """The bench on a loopback port; what it printed is in the failing test's output."""

    def __init__(
        self,
        engine: Engine,
        folder: Path,
        port: int = 0,
        host_name: str = "127.0.0.1",
        phone: Phone | None = None,
    ) -> None:
        held = bound("127.0.0.1", port)
        self.port: int = held.getsockname()[1]
        self.address = f"http://{host_name}:{self.port}"
        self.desk = Desk(engine, Store(folder))
        self.app = build_app(self.desk, [self.address], phone)
        config = uvicorn.Config(
            self.app,
            log_level="warning",
            access_log=False,
            ws="websockets-sansio",
            ws_max_size=WS_MAX_BYTES,
            ws_per_message_deflate=False,
            timeout_graceful_shutdown=1,
        )
        self._server = uvicorn.Server(config)
        self._server.capture_signals = contextlib.nullcontext  # type: ignore[assignment]
        self._held = held
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        while not self._server.started:
            if not self._thread.is_alive():
                raise RuntimeError("the bench did not start")
            self._thread.join(0.01)

    def _run(self) -> None:
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        self.loop = asyncio.get_running_loop()
        await self._server.serve(sockets=[self._held])

    def stop(self) -> None:
        """Stop at once; nothing but what is on disk survives."""
        self._server.should_exit = True
        self._thread.join(10)
        self._held.close()


@contextlib.contextmanager
def running(engine: Engine, folder: Path, **more: Any) -> Iterator[BenchServer]:
    """A bench for the length of a block."""
    server = BenchServer(engine, folder, **more)
    try:
        yield server
    finally:
        server.stop()
