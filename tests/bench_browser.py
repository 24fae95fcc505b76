"""Debian's Chromium with a file for a microphone.

The fake microphone plays a file once from the moment it is opened and then repeats its
last 10 ms. A file starts with at least a second of silence, because start-up may eat
0.1 s. About one run in forty has a 10 ms hole, more on a busy machine; the bench refuses
a tap with a hole and asks for it again, so recordings hold a few taps more than needed.
"""

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tests.needs import browser_path, go_without

CHROMIUM = browser_path()
PHONE = {"width": 390, "height": 844}
LAPTOP = {"width": 1280, "height": 800}
ALLOW = ("--use-fake-ui-for-media-stream",)
NO_PROMPTS = ("--deny-permission-prompts",)


def microphone_file(path: Path, sound: np.ndarray, rate: int) -> Path:
    """A file that the fake microphone can play: PCM 16, the quiet room at both ends."""
    level = float(np.std(sound[: int(0.2 * rate)]))
    room = level * np.random.default_rng(9).standard_normal(2 * rate)
    head, tail = room[: int(1.2 * rate)], room[int(1.2 * rate) :]
    soundfile.write(path, np.concatenate([head, sound, tail]), rate, subtype="PCM_16")
    return path


@contextlib.contextmanager
def chromium(*flags: str, sound: Path | None = None, device: bool = True) -> Iterator[Browser]:
    """A browser; ``sound`` is what its microphone hears."""
    if CHROMIUM is None:
        go_without("browser", "there is no Chromium or Chrome here")
    switches = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required", *flags]
    if device:
        switches.append("--use-fake-device-for-media-stream")
    if sound is not None:
        switches.append(f"--use-file-for-fake-audio-capture={sound.absolute()}%noloop")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=switches)
        try:
            yield browser
        finally:
            browser.close()


def open_page(
    browser: Browser, address: str, size: dict[str, int] | None = None, **more: Any
) -> Page:
    """The bench in a fresh window; any error on the page fails the test."""
    context: BrowserContext = browser.new_context(
        viewport=size or LAPTOP,  # type: ignore[arg-type]
        **more,
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda line: _note(faults, line.type, line.text))
    page.faults = faults  # type: ignore[attr-defined]
    events: list[dict[str, Any]] = []
    page.on("websocket", lambda ws: ws.on("framereceived", lambda text: _keep(events, text)))
    page.events = events  # type: ignore[attr-defined]
    page.goto(address)
    return page


def _note(faults: list[str], kind: str, text: str) -> None:
    # A lost server, a refused file, and a header that only a secure address may use.
    known = ("WebSocket connection to", "Failed to load resource", "Cross-Origin-Opener-Policy")
    if kind == "error" and not any(words in text for words in known):
        faults.append(text)


def _keep(events: list[dict[str, Any]], text: str | bytes) -> None:
    event = json.loads(text)
    if event["kind"] in ("tap", "gap", "refused"):
        events.append(event)


def taps_heard(page: Page) -> list[dict[str, Any]]:
    """Every strike that the bench judged, good or not, in order."""
    return [e for e in page.events if e["kind"] == "tap"]  # type: ignore[attr-defined]


def no_faults(page: Page) -> None:
    """Nothing went wrong on the page itself."""
    assert page.faults == []  # type: ignore[attr-defined]


def put_on_bench(page: Page, drum: str = "tom-12x8", practice: bool = False) -> None:
    """Choose a drum and put it on the bench."""
    page.get_by_label("Size").select_option(drum)
    if practice:
        page.get_by_text("A practice drum").click()
    page.get_by_role("button", name="Put it on the bench").click()
    expect(page.get_by_role("heading", name="Tap around the hoop")).to_be_visible()


def cue(page: Page) -> str:
    """What the large line says."""
    return page.locator("[data-test=cue]").inner_text()
