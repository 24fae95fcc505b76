"""The Starlette application: a few routes around the desk."""

import asyncio
import os
import re
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket

from hoopwise import __version__
from hoopwise.bench import uploads
from hoopwise.bench.assets import TEMPLATES, assets, content_hash
from hoopwise.bench.desk import Desk
from hoopwise.bench.page_socket import PageSocket
from hoopwise.bench.protocol import schema
from hoopwise.bench.security import COOKIE, PAIRING_S, Guard, Pairing
from hoopwise.bench.steps import RefusedError
from hoopwise.drum import FILMS
from hoopwise.drum.catalogue import TEMPLATES as DRUMS
from hoopwise.errors import HoopwiseError

Endpoint = Callable[[Request], Any]


@dataclass(frozen=True)
class Phone:
    """Where a phone finds the bench."""

    address: str
    """https://…, without a path."""
    fingerprint: str
    pairing: Pairing


def build_app(
    desk: Desk,
    origins: Iterable[str],
    phone: Phone | None = None,
    warm_up: Callable[[], None] | None = None,
) -> Starlette:
    """The bench as an ASGI application that answers to these origins."""

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        warming = asyncio.create_task(asyncio.to_thread(warm_up)) if warm_up else None
        yield
        await desk.close()
        if warming is not None:
            await asyncio.gather(warming, return_exceptions=True)

    pairing = phone.pairing if phone else None
    return Starlette(
        routes=_routes(desk, phone),
        middleware=[Middleware(Guard, origins=tuple(origins), pairing=pairing)],
        exception_handlers={HTTPException: _http_error, HoopwiseError: _plain_error},
        lifespan=lifespan,
    )


def _routes(desk: Desk, phone: Phone | None) -> list[Any]:
    async def live(socket: WebSocket) -> None:
        await PageSocket(socket, desk).serve()

    async def add_recording(request: Request) -> Response:
        name = _file_name(request.query_params.get("name", "recording"))
        data = await uploads.body_of(request, uploads.MAX_RECORDING_BYTES, "A recording")
        sound, rate = await asyncio.to_thread(uploads.decode_recording, data, name)
        return JSONResponse({"taps": await desk.add_recording(sound, rate, name)})

    async def take(request: Request) -> Response:
        return FileResponse(desk.take_path(request.path_params["take"]), media_type="audio/flac")

    return [
        Route("/", _page),
        Route("/static/{hash}/{path:path}", _static),
        Route("/health", _health),
        Route("/drums.json", _drums),
        Route("/protocol.json", _schema),
        Route("/takes/{take}.flac", take),
        Route("/recordings", add_recording, methods=["POST"]),
        Route("/drum-file", _drum_file, methods=["POST"]),
        Route("/phone.json", _phone_facts(phone)),
        Route("/phone.svg", _phone_code(phone)),
        Route("/pair/{token}", _pair(phone)),
        WebSocketRoute("/live", live),
    ]


async def _page(request: Request) -> Response:
    from jinja2 import Environment, FileSystemLoader

    templates = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True)
    page = templates.get_template("bench.html").render(
        base=f"/static/{content_hash()}", version=__version__
    )
    return HTMLResponse(page)


async def _static(request: Request) -> Response:
    asset = assets().get(request.path_params["path"])
    if asset is None or request.path_params["hash"] != content_hash():
        raise HTTPException(404, "There is no such file; load the page again.")
    forever = {"cache-control": "public, max-age=31536000, immutable"}
    return Response(asset.data, media_type=asset.media_type, headers=forever)


async def _health(request: Request) -> Response:
    return JSONResponse({"hoopwise": __version__, "pid": os.getpid()})


async def _drums(request: Request) -> Response:
    return JSONResponse({"templates": DRUMS, "films": {k: v[0] for k, v in FILMS.items()}})


async def _schema(request: Request) -> Response:
    return JSONResponse(schema())


async def _drum_file(request: Request) -> Response:
    data = await uploads.body_of(request, uploads.MAX_DRUM_BYTES, "A drum file")
    return JSONResponse({"drum": uploads.drum_table(data)})


def _phone_facts(phone: Phone | None) -> Endpoint:
    async def facts(request: Request) -> Response:
        if phone is None or request.url.scheme == "https":
            raise HTTPException(404, "The bench was started without --lan.")
        token, left = phone.pairing.token()
        return JSONResponse(
            {
                "address": f"{phone.address}/pair/{token}",
                "seconds": int(left),
                "fingerprint": phone.fingerprint,
            }
        )

    return facts


def _phone_code(phone: Phone | None) -> Endpoint:
    async def code(request: Request) -> Response:
        if phone is None or request.url.scheme == "https":
            raise HTTPException(404, "The bench was started without --lan.")
        import segno

        token, _ = phone.pairing.token()
        drawn = segno.make(f"{phone.address}/pair/{token}", micro=False).svg_inline(
            scale=6, border=4, light="#fff"
        )
        drawn = drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        return Response(drawn, media_type="image/svg+xml")

    return code


def _pair(phone: Phone | None) -> Endpoint:
    async def pair(request: Request) -> Response:
        key = phone.pairing.redeem(request.path_params["token"]) if phone else None
        if key is None:
            raise HTTPException(
                401,
                f"This code was used or is older than {PAIRING_S / 60:.0f} minutes. "
                "Scan the code that the bench shows now.",
            )
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(COOKIE, key, max_age=86400, secure=True, httponly=True, samesite="strict")
        return answer

    return pair


def _file_name(text: str) -> str:
    """A file's name as it may be shown: no path, nothing that is not printed."""
    last = re.split(r"[/\\]", text)[-1]
    return "".join(c for c in last if c.isprintable())[:80] or "recording"


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse(
        {"error": error.detail}, status_code=error.status_code, headers=error.headers
    )


async def _plain_error(request: Request, error: Exception) -> Response:
    """What a person can put right is told in a sentence, never as a server fault."""
    if isinstance(error, uploads.TooLargeError):
        status = 413
    elif isinstance(error, RefusedError):
        status = 409
    else:
        status = 404 if request.method == "GET" else 422
    return JSONResponse({"error": str(error)}, status_code=status)
