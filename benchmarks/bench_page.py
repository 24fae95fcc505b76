"""What the bench costs: weight, first view, tap to picture, memory, processor.

    python -m benchmarks.bench_page

Real Chromium with a file for a microphone, the real engine, the bench as a program.
"""

import asyncio
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Page

from hoopwise.bench.desk import Desk
from hoopwise.bench.protocol import MESSAGE
from hoopwise.bench.store import Store
from hoopwise.bench.wire import Block
from hoopwise.drum import load_drum
from hoopwise.render.practice import practice_drum
from tests.bench_browser import ALLOW, chromium, microphone_file, open_page, put_on_bench
from tests.bench_scripted import ScriptedEngine
from tests.bench_server import TOM

COMMAND = [sys.executable, "-c", "from hoopwise.cli import main; main()", "bench", "--no-browser"]
TICK = os.sysconf("SC_CLK_TCK")
PAGE_FILES = """() => [performance.getEntriesByType('navigation')[0],
  ...performance.getEntriesByType('resource')].reduce((sum, e) => sum + e.encodedBodySize, 0)"""
FIRST = "() => performance.getEntriesByName('first-contentful-paint')[0].startTime"
VIEW = "() => performance.getEntriesByName('first-view')[0].startTime"
LATE = "() => performance.getEntriesByName('tap-picture').map((m) => m.detail)"
HOUR = """async (base) => {
  const { Outbox } = await import(`${base}/own/outbox.js`);
  const box = new Outbox(1, 48000), heaps = [];
  let most = 0;
  for (let block = 0; block < 3600 * 48000 / 1024; block += 1) {
    box.push({ frame: block * 1024, samples: new Float32Array(1024) });
    for (const data of box.due()) most = Math.max(most, data.byteLength);
    if (block % 24 === 0) box.acknowledge(block * 1024 - 40000);
    if (block % 16875 === 0) heaps.push(performance.memory.usedJSHeapSize / 1e6);
  }
  return { heaps, kept: box.blocks.length };
}"""


def start(folder: Path) -> tuple[subprocess.Popen[str], str, float]:
    """The bench as a program, its address, and how long it took (s)."""
    began = time.perf_counter()
    process = subprocess.Popen(
        [*COMMAND, "--folder", str(folder)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    address = process.stdout.readline().split()[-1]
    return process, address, time.perf_counter() - began


def cpu_of(pids: list[int]) -> float:
    """Processor time (s) of these processes and all below them."""
    below: dict[int, list[int]] = {}
    used: dict[int, float] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            below.setdefault(int(fields[1]), []).append(int(entry.name))
            used[int(entry.name)] = (int(fields[11]) + int(fields[12])) / TICK
    total, waiting = 0.0, list(pids)
    while waiting:
        pid = waiting.pop()
        total += used.get(pid, 0.0)
        waiting += below.get(pid, [])
    return total


def chromium_pids() -> list[int]:
    """Browsers that this process started."""
    mine = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                line = (entry / "cmdline").read_bytes()
                parent = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
            except OSError:
                continue
            if b"chromium" in line and b"--type=" not in line and parent != 1:
                mine.append(int(entry.name))
    return mine


def taps_sound(folder: Path) -> Path:
    drum = practice_drum(load_drum("snare-13x6"), seed=1)
    rng = np.random.default_rng(0)
    step = int(1.1 * drum.rate)
    sound = drum.noise(18 * step + 40 * drum.rate, rng, -50.0)
    for i in range(18):
        tap = drum.tap(1 + i // 2 % 8, rng=rng, noise_db=None, length_s=1.1)
        sound[i * step : i * step + len(tap)] += tap
    return microphone_file(folder / "taps.wav", sound, drum.rate)


def quiet_sound(folder: Path) -> Path:
    room = 1e-3 * np.random.default_rng(1).standard_normal(60 * 48000)
    return microphone_file(folder / "quiet.wav", room, 48000)


def begin(page: Page) -> None:
    put_on_bench(page, "snare-13x6")
    page.get_by_role("button", name="Start listening").click()
    page.locator("#view[data-state=listening]").wait_for()


def weigh(address: str) -> None:
    with chromium(*ALLOW) as browser:
        page = open_page(browser, address)
        page.locator("[data-key=begin]").wait_for()
        print(f"page: {page.evaluate(PAGE_FILES) / 1000:.1f} kB with everything it loads")
        print(
            f"first paint: {page.evaluate(FIRST):.0f} ms, first view: {page.evaluate(VIEW):.0f} ms"
        )
        base = page.evaluate("() => document.documentElement.dataset.base")
        hour = page.evaluate(HOUR, base)
        heaps = ", ".join(f"{h:.1f}" for h in hour["heaps"])
        print(f"an hour of sound through the page: heap {heaps} MB, {hour['kept']} blocks kept")


def hear_taps(address: str, folder: Path) -> None:
    with chromium(*ALLOW, sound=taps_sound(folder)) as browser:
        page = open_page(browser, address)
        begin(page)
        page.locator("#view[data-state=reading], #view[data-state=read]").wait_for(timeout=60_000)
        late = sorted(page.evaluate(LATE))
        print(
            f"tap's window end to picture: median {np.median(late):.0f} ms, "
            f"worst {late[-1]:.0f} ms of {len(late)} taps"
        )


def listen_idle(process: subprocess.Popen[str], address: str, folder: Path) -> None:
    with chromium(*ALLOW, sound=quiet_sound(folder)) as browser:
        page = open_page(browser, address)
        page.locator("#view > *").first.wait_for()
        page.evaluate("() => 0")
        if page.locator("[data-key=begin]").count():
            begin(page)
        pids = [process.pid, *chromium_pids()]
        page.wait_for_timeout(3000)
        server, all_of_it, clock = cpu_of([process.pid]), cpu_of(pids), time.perf_counter()
        page.wait_for_timeout(20_000)
        span = time.perf_counter() - clock
        share = 100 * (cpu_of(pids) - all_of_it) / span
        own = 100 * (cpu_of([process.pid]) - server) / span
        print(f"listening to a quiet room: {share:.0f} % of one core, the bench alone {own:.1f} %")


async def listen_an_hour(folder: Path) -> None:
    desk = Desk(ScriptedEngine(), Store(folder))
    say: dict[str, dict[str, Any]] = {
        "set_drum": {"drum": TOM, "side": "batter", "other_head": "off"},
        "begin_round": {"source": "microphone"},
        "open_ear": {"stream": 1, "rate": 48000, "settings": {}},
    }
    for kind, more in say.items():
        await desk.take(MESSAGE.validate_python({"v": 1, "kind": kind, **more}))
    room = (1e-3 * np.random.default_rng(0).standard_normal(1024)).astype(np.float32)
    sizes, began = [], time.process_time()
    for block in range(3600 * 48000 // 1024):
        await desk.hear(Block(1, 1024 * block, room))
        if block % 16875 == 0:
            pages = int(Path("/proc/self/statm").read_text().split()[1])
            sizes.append(pages * os.sysconf("SC_PAGESIZE") / 1e6)
    spent = time.process_time() - began
    told = ", ".join(f"{s:.0f}" for s in sizes)
    print(f"an hour of sound through the server: {told} MB, {spent:.0f} s of processor time")


def main() -> None:
    """Print every figure."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        process, address, ready = start(folder / "bench")
        try:
            print(f"server ready: {ready:.2f} s")
            weigh(address)
            hear_taps(address, folder)
        finally:
            process.terminate()
            process.wait(20)
        process, address, _ = start(folder / "idle")
        try:
            listen_idle(process, address, folder)
        finally:
            process.terminate()
            process.wait(20)
        asyncio.run(listen_an_hour(folder / "hour"))


if __name__ == "__main__":
    main()
