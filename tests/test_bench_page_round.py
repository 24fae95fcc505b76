"""Rounds in a real browser, with a recording played into the microphone."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from tests.bench_browser import (
    ALLOW,
    chromium,
    microphone_file,
    no_faults,
    open_page,
    put_on_bench,
    taps_heard,
)
from tests.bench_scripted import RATE, ScriptedEngine
from tests.bench_server import BenchServer, running
from tests.test_bench_ear import stream

pytestmark = pytest.mark.browser


def taps_file(folder: Path, count: int, every_s: float = 1.1) -> Path:
    sound = stream([0.3 + every_s * i for i in range(count)], 0.6 + every_s * count)
    return microphone_file(folder / "taps.wav", sound, RATE)


def one_tap_each(page: Page) -> None:
    page.get_by_text("1", exact=True).first.click()


def wait_state(page: Page, state: str, timeout: int = 30_000) -> None:
    page.locator(f"#view[data-state={state}]").wait_for(timeout=timeout)


def listen(page: Page) -> None:
    page.locator("[name=taps][value='1']").check(force=True)
    page.get_by_role("button", name="Start listening").click()
    wait_state(page, "listening")


def lateness_ms(page: Page) -> list[float]:
    marks: list[Any] = page.evaluate(
        "() => performance.getEntriesByName('tap-picture').map((m) => m.detail)"
    )
    return [float(m) for m in marks]


def test_a_round_by_sound_advances_by_itself(tmp_path: Path) -> None:
    sound = taps_file(tmp_path, 9)
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=sound) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        listen(page)
        expect(page.locator(".sheet", has_text="Microphone")).to_contain_text("unprocessed")
        expect(page.locator("[data-test=verdict]")).to_contain_text("good")
        wait_state(page, "read")
        expect(page.locator("[data-test=headline]")).to_contain_text("rods are off")
        settings = server.desk.session.rounds[0].settings
        assert settings["echoCancellation"] is False and settings["autoGainControl"] is False
        late = lateness_ms(page)
        assert len(late) >= 5
        no_faults(page)


def test_a_reload_in_mid_round_goes_on(tmp_path: Path) -> None:
    sound = taps_file(tmp_path, 9)
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=sound) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        listen(page)
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 3")
        page.reload()
        wait_state(page, "listening")
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 3")
        page.get_by_role("button", name="Go on listening").click()
        wait_state(page, "read")
        assert [t.rod for t in server.desk.session.rounds[0].taps] == [1, 2, 3, 4, 5, 6]
        no_faults(page)


def test_a_server_killed_in_mid_round_loses_no_tap(tmp_path: Path) -> None:
    """The bench is away while a tap sounds; the page keeps it and sends it again."""
    sound = taps_file(tmp_path, 9, every_s=1.4)
    first = BenchServer(ScriptedEngine(), tmp_path / "bench")
    with chromium(*ALLOW, sound=sound) as browser:
        page = open_page(browser, first.address)
        put_on_bench(page)
        listen(page)
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 3")
        first.stop()
        expect(page.locator("[data-notice=away]")).to_be_visible()
        page.wait_for_timeout(1800)
        again = BenchServer(ScriptedEngine(), tmp_path / "bench", port=first.port)
        try:
            expect(page.locator("[data-notice=away]")).to_have_count(0)
            wait_state(page, "read")
            taps = again.desk.session.rounds[0].taps
            assert [t.rod for t in taps] == [1, 2, 3, 4, 5, 6]
            assert len({t.take for t in taps}) == 6
            ends = np.array([tap["end_frame"] / tap["rate"] for tap in taps_heard(page)])
            assert np.allclose(np.diff(ends), 1.4, atol=0.03), "every strike once, none missed"
            no_faults(page)
        finally:
            again.stop()


def test_a_refused_tap_says_why_and_can_be_made_again(tmp_path: Path) -> None:
    taps = stream([0.3, 1.9, 3.1, 4.3], 5.6)
    taps[: int(1.2 * RATE)] = np.clip(6 * taps[: int(1.2 * RATE)], -1, 1)
    sound = microphone_file(tmp_path / "taps.wav", taps, RATE)
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=sound) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        listen(page)
        expect(page.locator("[data-test=verdict]")).to_contain_text("Too loud for the microphone")
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 1")
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 3", timeout=8000)
        page.keyboard.press("PageUp")
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 2")
        page.keyboard.press("ArrowRight")
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 3")
        no_faults(page)


def test_processed_sound_is_said_to_be(tmp_path: Path) -> None:
    sound = taps_file(tmp_path, 9)
    spoiled = """() => {
      const real = MediaStreamTrack.prototype.getSettings;
      MediaStreamTrack.prototype.getSettings = function () {
        return { ...real.call(this), noiseSuppression: true };
      };
    }"""
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=sound) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.evaluate(spoiled)
        listen(page)
        expect(page.locator(".sheet", has_text="Microphone")).to_contain_text("PROCESSED")
        wait_state(page, "read")
        expect(page.locator("[data-test=headline]")).to_contain_text("Pitches only")
        expect(page.locator("#view")).to_contain_text("ring times and tensions are not")
        expect(page.locator(".rim")).to_have_count(0)
        no_faults(page)
