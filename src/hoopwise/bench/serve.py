"""Runs the bench: ports, addresses, the note of where it runs, and a clean stop."""

import asyncio
import contextlib
import json
import os
import signal
import socket
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from hoopwise.errors import HoopwiseError

DEFAULT_PORT: Final = 8727
_TRIES: Final = 20
_NOTE: Final = "running.json"


class BenchError(HoopwiseError):
    """The bench cannot start; the message says why."""


@dataclass(frozen=True)
class Places:
    """Where the bench answers."""

    local: str
    """http://127.0.0.1:…"""
    phone: str | None = None
    """https://… for a phone."""


def where_it_runs(folder: Path) -> str | None:
    """Address of a bench that is running already on this folder, else None."""
    try:
        note = json.loads((folder / _NOTE).read_text(encoding="utf-8"))
        address, pid = str(note["address"]), int(note["pid"])
        if not address.startswith("http://127.0.0.1:"):
            return None
        with urllib.request.urlopen(f"{address}/health", timeout=1.0) as answer:
            alive = json.load(answer)
    except (OSError, ValueError, KeyError, TypeError, urllib.error.URLError):
        return None
    return address if alive.get("pid") == pid else None


def bound(host: str, port: int | None) -> socket.socket:
    """A listening socket: on the port asked for, else on the first free usual one.

    Raises
    ------
    BenchError
        The port asked for is taken, or none is free.
    """
    for candidate in [port] if port is not None else range(DEFAULT_PORT, DEFAULT_PORT + _TRIES):
        held = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            held.bind((host, candidate))
        except OSError:
            held.close()
            continue
        return held
    if port is not None:
        raise BenchError(
            f"Port {port} is taken by another program; give another one with --port, or none."
        )
    raise BenchError(f"No port from {DEFAULT_PORT} to {DEFAULT_PORT + _TRIES - 1} is free.")


def network_address() -> str:
    """Address of this machine in the local network.

    Raises
    ------
    BenchError
        It is in no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737 test address; nothing is sent
            address = str(probe.getsockname()[0])
        except OSError:
            address = "127.0.0.1"
    if address.startswith("127."):
        raise BenchError(
            "This computer is in no network that a phone could reach. Join the phone's network, "
            "or start the bench without --lan."
        )
    return address


@dataclass(frozen=True)
class Options:
    """How to run the bench."""

    folder: Path
    port: int | None = None
    lan: bool = False
    lan_address: str | None = None
    """Only for tests: the address to use instead of asking the network."""


def run(options: Options, ready: Callable[[Places], None]) -> None:
    """Serve until interrupted; ``ready`` is called once both addresses answer."""
    asyncio.run(_run(options, ready))


async def _run(options: Options, ready: Callable[[Places], None]) -> None:
    import uvicorn

    from hoopwise.bench.app import build_app
    from hoopwise.bench.desk import Desk
    from hoopwise.bench.engine import RealEngine
    from hoopwise.bench.store import Store

    local = bound("127.0.0.1", options.port)
    port = local.getsockname()[1]
    places, phone, sockets = _places(options, local)
    origins = [f"http://127.0.0.1:{port}", f"http://localhost:{port}"]
    if places.phone:
        origins.append(places.phone)
    engine = RealEngine()
    desk = Desk(engine, Store(options.folder))
    app = build_app(desk, origins, phone, engine.warm_up)
    servers = [
        uvicorn.Server(_config(app, tls, lifespan="on" if i == 0 else "off"))
        for i, (_, tls) in enumerate(sockets)
    ]
    note = options.folder / _NOTE
    try:
        with _stop_on_signals(servers):
            tasks = [
                asyncio.create_task(server.serve(sockets=[held]))
                for server, (held, _) in zip(servers, sockets, strict=True)
            ]
            while not all(s.started or t.done() for s, t in zip(servers, tasks, strict=True)):
                await asyncio.sleep(0.01)
            note.write_text(json.dumps({"address": places.local, "pid": os.getpid()}))
            ready(places)
            await asyncio.gather(*tasks)
    finally:
        note.unlink(missing_ok=True)
        for held, _ in sockets:
            held.close()


def _places(options: Options, local: socket.socket) -> tuple[Places, Any, list[tuple[Any, Any]]]:
    """Addresses, what the page needs to pair a phone, and the sockets with their TLS files."""
    here = f"http://127.0.0.1:{local.getsockname()[1]}"
    if not options.lan:
        return Places(here), None, [(local, None)]
    from hoopwise.bench.app import Phone
    from hoopwise.bench.certificate import certificate_for
    from hoopwise.bench.security import Pairing

    address = options.lan_address or network_address()
    try:
        held = bound(address, None)
    except BenchError:
        local.close()
        raise
    tls = certificate_for(address, options.folder)
    there = f"https://{address}:{held.getsockname()[1]}"
    phone = Phone(there, tls.fingerprint, Pairing())
    return Places(here, there), phone, [(local, None), (held, tls)]


def _config(app: Any, tls: Any, lifespan: Any) -> Any:
    import uvicorn

    from hoopwise.bench.page_socket import WS_MAX_BYTES

    return uvicorn.Config(
        app,
        lifespan=lifespan,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="websockets-sansio",
        ws_max_size=WS_MAX_BYTES,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=2,
        ssl_certfile=str(tls.certificate) if tls else None,
        ssl_keyfile=str(tls.key) if tls else None,
    )


@contextlib.contextmanager
def _stop_on_signals(servers: list[Any]) -> Any:
    """One signal stops every server; uvicorn's own handlers would stop only the last."""

    def stop() -> None:
        for server in servers:
            server.should_exit = True

    for server in servers:
        server.capture_signals = contextlib.nullcontext
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):  # a system without these signals
            loop.add_signal_handler(number, stop)
    yield
