"""Recordings dropped on the page: WAV, a phone's m4a, what cannot be read."""

import shutil
import subprocess
from pathlib import Path

import pytest
import soundfile
from playwright.sync_api import expect

from tests.bench_browser import chromium, no_faults, open_page, put_on_bench
from tests.bench_scripted import RATE, ScriptedEngine
from tests.bench_server import running
from tests.needs import go_without
from tests.test_bench_ear import stream
from tests.test_bench_page_round import wait_state

pytestmark = pytest.mark.browser


def round_file(folder: Path, taps: int = 12) -> Path:
    sound = stream([0.4 + 1.0 * i for i in range(taps)], 0.8 + taps)
    soundfile.write(folder / "round.wav", sound, RATE)
    return folder / "round.wav"


def test_a_round_from_one_recording(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.locator("#files").set_input_files(round_file(tmp_path))
        wait_state(page, "sorting")
        rows = page.locator(".taps li")
        expect(rows).to_have_count(12)
        expect(rows.nth(2)).to_contain_text("rod 2")
        rows.nth(2).get_by_role("button").first.click()
        page.get_by_role("button", name="Give to rod 5").click()
        expect(rows.nth(2)).to_contain_text("rod 5")
        rows.nth(11).get_by_role("button", name="Leave out").click()
        expect(rows.nth(11)).to_contain_text("no rod")
        page.get_by_text("Left the sound alone").click()
        expect(page.locator("[name=declared][value=raw]")).to_be_checked()
        page.get_by_role("button", name="Read these taps").click()
        wait_state(page, "read")
        expect(page.locator("[data-test=headline]")).to_contain_text("off")
        rods = [t.rod for t in server.desk.session.rounds[0].taps]
        assert rods == [1, 1, 5, 2, 3, 3, 4, 4, 5, 5, 6, None]
        no_faults(page)


def test_a_recorder_that_nobody_knows_gives_pitches_alone(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.locator("#files").set_input_files(round_file(tmp_path))
        page.get_by_role("button", name="Read these taps").click()
        wait_state(page, "read")
        expect(page.locator("#view")).to_contain_text("Nobody can say")
        expect(page.locator(".rim")).to_have_count(0)
        no_faults(page)


def test_a_phone_recording_is_decoded_by_the_browser(tmp_path: Path) -> None:
    if shutil.which("ffmpeg") is None:
        go_without("ffmpeg", "there is no ffmpeg to make an m4a with")
    phone = tmp_path / "round.m4a"
    command = [
        "ffmpeg",
        "-loglevel",
        "error",
        "-i",
        str(round_file(tmp_path)),
        "-c:a",
        "aac",
        str(phone),
    ]
    subprocess.run(command, check=True, timeout=60)
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.locator("#files").set_input_files(phone)
        expect(page.locator(".taps li")).to_have_count(12)
        expect(page.locator(".taps")).to_contain_text("round.m4a")
        no_faults(page)


def test_what_cannot_be_read_is_told_with_its_name(tmp_path: Path) -> None:
    (tmp_path / "notes.m4a").write_bytes(b"not a recording")
    (tmp_path / "notes.wav").write_bytes(b"not a recording")
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.locator("#files").set_input_files(tmp_path / "notes.m4a")
        expect(page.locator("[data-notice=undecodable]")).to_contain_text("notes.m4a")
        page.locator("#more").set_input_files(tmp_path / "notes.wav")
        expect(page.locator("[data-notice=upload]")).to_contain_text("notes.wav: cannot be read")
        no_faults(page)


def test_recordings_can_be_dropped_anywhere(tmp_path: Path) -> None:
    data = round_file(tmp_path, taps=3).read_bytes().hex()
    drop = """(hex) => {
      const bytes = Uint8Array.from(hex.match(/../g), (pair) => parseInt(pair, 16));
      const carried = new DataTransfer();
      carried.items.add(new File([bytes], 'dropped.wav'));
      document.body.dispatchEvent(new DragEvent('drop',
        { dataTransfer: carried, bubbles: true, cancelable: true }));
    }"""
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        page.evaluate(drop, data)
        expect(page.locator(".taps li")).to_have_count(3)
        expect(page.locator(".taps")).to_contain_text("dropped.wav")
        no_faults(page)


def test_a_drum_file_describes_the_drum(tmp_path: Path) -> None:
    good = '[drum]\nname = "From a file"\nkind = "tom"\ndiameter_in = 13\ndepth_in = 9\nrods = 6\n'
    (tmp_path / "drum.toml").write_text(good)
    (tmp_path / "wrong.toml").write_text(good.replace("rods = 6", "rods = 600"))
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        picker = page.get_by_label("Or open a drum file")
        picker.set_input_files(tmp_path / "wrong.toml")
        expect(page.get_by_role("alert")).to_contain_text("rods = 600")
        picker.set_input_files(tmp_path / "drum.toml")
        page.get_by_role("button", name="Put it on the bench").click()
        expect(page.locator("#header")).to_contain_text("From a file")
        no_faults(page)
