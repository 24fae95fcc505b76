"""Everything that stops the work has a message that says what to do."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.bench_browser import (
    ALLOW,
    NO_PROMPTS,
    chromium,
    microphone_file,
    no_faults,
    open_page,
    put_on_bench,
)
from tests.bench_scripted import RATE, ScriptedEngine
from tests.bench_server import running
from tests.test_bench_ear import stream
from tests.test_bench_page_round import listen, wait_state

pytestmark = pytest.mark.browser


def told(page: Page, code: str, *words: str) -> None:
    notice = page.locator(f"[data-notice={code}]")
    for word in words:
        expect(notice).to_contain_text(word)


def start(page: Page) -> None:
    page.get_by_role("button", name="Start listening").click()


def test_denied(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path) as server, chromium(*NO_PROMPTS) as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        start(page)
        told(page, "denied", "does not let this page", "allow the microphone")
        assert server.desk.session.state.value == "ready"
        no_faults(page)


def test_no_device(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path) as server, chromium(*ALLOW, device=False) as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        start(page)
        told(page, "none", "No microphone was found", "practise without a drum")
        no_faults(page)


def test_insecure_origin(tmp_path: Path) -> None:
    mapped = "--host-resolver-rules=MAP bench.test 127.0.0.1"
    more = {"host_name": "bench.test"}
    with running(ScriptedEngine(), tmp_path, **more) as server, chromium(*ALLOW, mapped) as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        start(page)
        told(page, "insecure", "without encryption", "--lan")
        no_faults(page)


def with_taps(folder: Path, count: int = 9) -> Path:
    sound = stream([0.3 + 1.1 * i for i in range(count)], 0.6 + 1.1 * count)
    return microphone_file(folder / "taps.wav", sound, RATE)


def test_a_lost_device(tmp_path: Path) -> None:
    keep = """() => {
      const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
      navigator.mediaDevices.getUserMedia = async (wish) => (window.kept = await real(wish));
    }"""
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=with_taps(tmp_path)) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.evaluate(keep)
        listen(page)
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 2")
        page.evaluate("() => window.kept.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
        told(page, "lost", "The microphone is gone", "taps so far are kept")
        page.locator("[data-key=retry]").click()
        wait_state(page, "read")
        no_faults(page)


def test_a_page_that_was_asleep(tmp_path: Path) -> None:
    """The browser suspends the sound; the message stays until it runs again."""
    keep = """() => {
      const real = window.AudioContext;
      window.AudioContext = class extends real {
        constructor(...more) { super(...more); window.heard ??= this; }
      };
    }"""
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=with_taps(tmp_path)) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.evaluate(keep)
        listen(page)
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 2")
        page.evaluate("() => window.heard.suspend()")
        told(page, "asleep", "was asleep", "Touch the page")
        page.locator("[data-key=retry]").click()
        expect(page.locator("[data-notice=asleep]")).to_have_count(0)
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 4")
        no_faults(page)


def test_a_muted_microphone(tmp_path: Path) -> None:
    keep = """() => {
      const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
      navigator.mediaDevices.getUserMedia = async (wish) => (window.kept = await real(wish));
    }"""
    with (
        running(ScriptedEngine(), tmp_path / "bench") as server,
        chromium(*ALLOW, sound=with_taps(tmp_path)) as browser,
    ):
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.evaluate(keep)
        listen(page)
        track = "window.kept.getAudioTracks()[0]"
        page.evaluate(f"() => {track}.dispatchEvent(new Event('mute'))")
        told(page, "muted", "is silent", "Unmute it")
        page.evaluate(f"() => {track}.dispatchEvent(new Event('unmute'))")
        expect(page.locator("[data-notice=muted]")).to_have_count(0)
        no_faults(page)


def test_no_voices_and_the_text_stays(tmp_path: Path) -> None:
    silent = "() => { window.speechSynthesis.getVoices = () => []; }"
    with running(ScriptedEngine(), tmp_path) as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page, practice=True)
        page.evaluate(silent)
        page.keyboard.press("u")
        page.locator("[name=u-speech][value=true]").check(force=True)
        told(page, "voices", "has no voice", "large number")
        no_faults(page)


def test_speech_says_the_rod(tmp_path: Path) -> None:
    stub = """() => {
      window.said = [];
      const speech = window.speechSynthesis;
      speech.getVoices = () => [{}];
      speech.speak = (line) => window.said.push(line.text);
    }"""
    with running(ScriptedEngine(), tmp_path) as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page, practice=True)
        page.evaluate(stub)
        page.keyboard.press("u")
        page.locator("[name=u-speech][value=true]").check(force=True)
        page.keyboard.press("Escape")
        expect(page.locator(".panel")).to_have_count(0)  # till then the space bar is its own
        page.keyboard.press("Space")
        wait_state(page, "listening")
        page.keyboard.press("Space")
        expect(page.locator("[data-test=cue]")).to_contain_text("again")
        assert page.evaluate("() => window.said") == ["Rod 1", "Rod 1, again"]
        expect(page.locator("#aloud")).to_have_text("Rod 1, again")
        no_faults(page)


def test_a_lost_server_is_said_and_comes_back(tmp_path: Path) -> None:
    from tests.bench_server import BenchServer

    first = BenchServer(ScriptedEngine(), tmp_path)
    with chromium() as browser:
        page = open_page(browser, first.address)
        put_on_bench(page, practice=True)
        first.stop()
        told(page, "away", "does not answer", "hoopwise bench")
        again = BenchServer(ScriptedEngine(), tmp_path, port=first.port)
        expect(page.locator("[data-notice=away]")).to_have_count(0)
        page.keyboard.press("Space")
        wait_state(page, "listening")
        again.stop()
        no_faults(page)
