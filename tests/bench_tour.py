"""Every view of the bench, each set up from a session that leads there.

Used by the check of accessibility and by the command that makes the screenshots. The
readings come from the scripted engine: drum, numbers and doubts are invented.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Browser, Page

from hoopwise.bench import steps
from hoopwise.bench.app import Phone
from hoopwise.bench.protocol import State
from hoopwise.bench.rounds import KeptTap, Processing
from hoopwise.bench.security import Pairing
from hoopwise.bench.session import EarMark, Session
from hoopwise.bench.views import show_plan, show_reading
from hoopwise.drum import load_drum
from hoopwise.infer.types import Ask
from tests.bench_browser import microphone_file, open_page
from tests.bench_scripted import RATE, ScriptedEngine, scripted_tap
from tests.bench_server import SNARE, BenchServer
from tests.test_bench_protocol import message

DRUM: dict[str, Any] = {
    **SNARE,
    "drum": {**SNARE["drum"], "name": "Workshop birch"},
}
After = Callable[[Page, BenchServer], None]


def _nothing(page: Page, server: BenchServer) -> None:
    page.wait_for_timeout(50)


@dataclass(frozen=True)
class View:
    """One view: the session that leads there, and what is done on the page."""

    name: str
    session: Session
    after: After = _nothing


def _ready(stage: str = "even", **more: Any) -> Session:
    session = steps.step(Session(), message("set_drum", drum=DRUM, **more))
    return steps.step(session, message("set_stage", stage=stage))


def _tap(rod: float | None, number: int = 0) -> KeptTap:
    return KeptTap(f"{number:016x}", rod, 0.3, -9.0 - number % 5, 47.0, (), "round one.m4a")


def _listening(taps: int, session: Session | None = None, order: str = "around") -> Session:
    session = steps.step(session or _ready(), message("begin_round", order=order))
    for i in range(taps):
        assert session.round is not None
        session = steps.keep_tap(session, _tap(session.round.next_rod, i))
    return session


def _read(
    engine: ScriptedEngine | None = None,
    processing: Processing = "raw",
    session: Session | None = None,
) -> Session:
    """A session whose round was read by the scripted engine."""
    session = _listening(20, session)
    current = session.round
    assert current is not None
    current = replace(current, processing=processing)
    session = replace(session, rounds=(*session.rounds[:-1], current))
    work = (engine or ScriptedEngine()).work(load_drum(DRUM), "batter", "off")
    reading = work.read([(t.rod or 1, np.full(9, 0.1), RATE) for t in current.taps])
    earlier = [r.reading for r in session.rounds[:-1] if r.reading]
    before = earlier[-1] if earlier and current.purpose == "seat" else None
    shown = show_reading(reading, processing, before)
    plan = show_plan(work.advise()) if processing == "raw" else None
    return steps.reading_done(session, shown, plan)


def _turning(done: int, session: Session | None = None) -> Session:
    session = steps.step(session or _read(), message("begin_turning"))
    for _ in range(done if done >= 0 else len(session.steps)):
        session = steps.step(session, message("turn_done"))
    return session


def _even() -> Session:
    turned = steps.step(_turning(-1), message("finish_turning"))
    return _read(ScriptedEngine(deviations=(0.006, -0.008, 0.009, 0.004, -0.011)), session=turned)


def _seat() -> Session:
    session = steps.step(_even(), message("set_stage", stage="seat"))
    settled = (-0.031, -0.008, 0.014, 0.004, -0.011, 0.006, 0.012, 0.002, -0.004, 0.009)
    return _read(ScriptedEngine(deviations=settled), session=session)


def _sorting(order: str = "around") -> Session:
    begin = message("begin_round", source="files", taps_per_rod=1, order=order)
    session = steps.step(_ready(), begin)
    return steps.add_unsorted(session, [_tap(None, i) for i in range(8)])


def _mount() -> Session:
    session = _ready("mount")
    for item in ("edge-clean", "head-flat", "pass-1", "pass-6"):
        session = steps.step(session, message("mark", item=item))
    return session


def _tell(server: BenchServer, event: dict[str, Any]) -> None:
    loop = server.loop
    asyncio.run_coroutine_threadsafe(server.desk._say(event), loop).result(5)


def _tap_told(good: bool, halfway: bool = False) -> After:
    def after(page: Page, server: BenchServer) -> None:
        page.get_by_role("button", name="Go on listening").click()
        page.get_by_text("unprocessed").wait_for()
        _tell(server, {
            "kind": "tap", "rod": 6.5 if halfway else 6 if good else 7, "good": good, "busy": False,
            "reason": None if good else "too soft", "strength_db": -11.0, "snr_db": 46.0,
            "sentence": "" if good else "Too soft against the room. Tap a little harder, or "
            "bring the microphone closer.", "end_frame": 0, "rate": RATE, "take": None,
        })  # fmt: skip
        page.locator(".verdict.good" if good else ".verdict.bad").wait_for()
        page.wait_for_timeout(600)

    return after


def _press(key: str) -> After:
    def after(page: Page, server: BenchServer) -> None:
        page.keyboard.press(key)
        page.locator(".panel").wait_for()

    return after


def _go_halfway(page: Page, server: BenchServer) -> None:
    page.locator("[name=order][value=halfway]").check(force=True)
    page.get_by_text("halfway to the next").first.wait_for()


def _halfway_from_now_on(page: Page, server: BenchServer) -> None:
    page.locator("[data-key=halfway]").click()
    page.get_by_text("The next round is tapped at each rod and halfway").wait_for()


def _phone(page: Page, server: BenchServer) -> None:
    page.get_by_role("button", name="Phone").click()
    page.locator(".qr").wait_for()


def _own_drum(page: Page, server: BenchServer) -> None:
    page.get_by_label("Size").select_option("own")
    page.get_by_label("Rods on a side").wait_for()


def _pick(page: Page, server: BenchServer) -> None:
    page.locator(".taps .rodkey").nth(2).click()
    page.get_by_text("at which rod?").wait_for()


def _pick_place(page: Page, server: BenchServer) -> None:
    page.locator(".taps .rodkey").nth(3).click()
    page.get_by_text("at which place?").wait_for()


def _away(page: Page, server: BenchServer) -> None:
    server.stop()
    page.locator("[data-notice=away]").wait_for()


DOUBT = ScriptedEngine(trust="low")
HARDER = ScriptedEngine(
    trust="low",
    ask=Ask(
        "harder tip",
        0,
        sentence="Tap the next round with a harder, lighter tip: this one stays on the head for "
        "3.6 ms, too long for this head's higher rings; the error bars would come down by about "
        "40 %.",
    ),
)
OR_HALFWAY = ScriptedEngine(
    trust="low",
    ask=Ask(
        "harder tip",
        0,
        sentence="Tap the next round with a harder, lighter tip: this one stays on the head for "
        "3.6 ms, too long for this head's higher rings; the error bars would come down by about "
        "40 %. With this tip alone, tap once at each rod and once halfway to the next; the error "
        "bars would come down by about 20 %.",
        or_halfway=True,
    ),
)
HALFWAY = ScriptedEngine(
    trust="low",
    ask=Ask(
        "halfway",
        0,
        sentence="Tap the next round once at each rod and once halfway to the next; the error "
        "bars would come down by about 30 %.",
    ),
)
PRACTICE = _ready(practice=True)
VIEWS: tuple[View, ...] = (
    View("setup", Session()),
    View("setup-own", Session(), _own_drum),
    View("mount", _mount()),
    View("ready", _ready()),
    View("ready-halfway", _ready(), _go_halfway),
    View("listening", _listening(12), _tap_told(good=True)),
    View("listening-halfway", _listening(13, order="halfway"), _tap_told(True, halfway=True)),
    View("practice-halfway", _listening(12, PRACTICE, "halfway")),
    View("refused", _listening(12), _tap_told(good=False)),
    View("practice", _listening(7, PRACTICE)),
    View("reading", replace(_listening(19), state=State.READING)),
    View("read", _read()),
    View("read-doubt", _read(DOUBT)),
    View("read-harder", _read(HARDER)),
    View("read-halfway", _read(HALFWAY, session=PRACTICE), _halfway_from_now_on),
    View("read-or-halfway", _read(OR_HALFWAY, session=PRACTICE), _halfway_from_now_on),
    View("read-processed", _read(processing="on")),
    View("turning", _turning(2)),
    View("turned", _turning(-1)),
    View("even", _even()),
    View("seat", steps.step(_even(), message("set_stage", stage="seat"))),
    View("seat-compared", _seat()),
    View("sorting", _sorting(), _pick),
    View("sorting-halfway", _sorting("halfway"), _pick_place),
    View("sorting-empty", steps.step(_ready(), message("begin_round", source="files"))),
    View("keys", _ready(), _press("?")),
    View("units", _ready(), _press("u")),
    View("phone", _ready(), _phone),
    View("away", _listening(12), _away),
)


def room_file(folder: Path) -> Path:
    """A quiet room with a hum, so that meter and spectrum have something to show."""
    t = np.arange(20 * RATE) / RATE
    hum = np.sum([0.004 / k * np.sin(2 * np.pi * 110 * k * t) for k in range(1, 6)], axis=0)
    tap = scripted_tap(1)[int(0.3 * RATE) :]
    hum[: len(tap)] += 0.05 * tap
    return microphone_file(folder / "room.wav", hum, RATE)


def visit(view: View, browser: Browser, folder: Path, **more: Any) -> tuple[Page, BenchServer]:
    """Open a view; the caller stops the server."""
    folder.mkdir(parents=True, exist_ok=True)
    phone = Phone("https://192.0.2.7:8443", ":".join(["A1", "B2", "C3", "D4"] * 8), Pairing())
    server = BenchServer(ScriptedEngine(), folder, phone=phone)
    session = view.session
    if session.ear is None and session.state is State.LISTENING:
        session = replace(session, ear=EarMark(1, RATE))
    server.desk.session = session
    page = open_page(browser, server.address, **more)
    page.locator("#view > *").first.wait_for()
    view.after(page, server)
    return page, server
