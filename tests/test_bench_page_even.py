"""The whole job by sound: from opening the page to an even head, on a simulated drum.

The simulated drum's taps are played into Chromium's microphone, the page listens, reads
and says what to turn; the drum is turned so, with a hand's error, and heard again. The
truth that the page never sees decides in the end.

One drum, picked because it comes out even in a few rounds: this shows that the loop
closes through the page, not how often it does. That is measured over many drums in the
closed-loop benchmark, and the bounds below are the ones asked for there (2 % rms, every
rod within 5 %).
"""

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page

from hoopwise.bench.engine import RealEngine
from hoopwise.bench.protocol import State
from hoopwise.drum import load_drum
from hoopwise.render.practice import PracticeDrum, practice_drum
from tests.bench_browser import (
    ALLOW,
    chromium,
    microphone_file,
    no_faults,
    open_page,
    put_on_bench,
    taps_heard,
)
from tests.bench_server import BenchServer, running
from tests.test_bench_page_round import wait_state

pytestmark = pytest.mark.browser

DRUM = "tom-14x14"
EVERY_S = 1.3
MOST_ROUNDS = 4
TRIES = 3
"""The fake microphone sometimes drops 10 ms; such a round is given again, and told."""


OVER = "() => performance.now() > 60000"


def round_sound(drum: PracticeDrum, seed: int) -> np.ndarray:
    """Two taps at each rod, one every 1.3 s, over the room's noise."""
    rng = np.random.default_rng(seed)
    rods = [rod for rod in range(1, drum.drum.rods + 1) for _ in range(2)]
    step = int(EVERY_S * drum.rate)
    sound = drum.noise(step * len(rods) + drum.rate, rng, -50.0)
    for i, rod in enumerate(rods):
        tap = drum.tap(rod, rng=rng, noise_db=None, length_s=EVERY_S)
        sound[i * step : i * step + len(tap)] += tap[: len(sound) - i * step]
    return np.asarray(sound)


def hear_round(server: BenchServer, drum: PracticeDrum, folder: Path, seed: int) -> Page | None:
    """One launch of the browser that hears one round; whether every tap was kept."""
    sound = microphone_file(folder / f"round{seed}.wav", round_sound(drum, seed), drum.rate)
    with chromium(*ALLOW, sound=sound) as browser:
        page = open_page(browser, server.address)
        page.locator("#view > *").first.wait_for()
        if server.desk.session.state is State.BARE:
            put_on_bench(page, DRUM)
        if server.desk.session.state is State.READ:
            turn_everything(page)
        else:
            page.get_by_role("button", name="Start listening").click()
        wait_state(page, "listening")
        while server.desk.session.state is State.LISTENING:
            page.wait_for_timeout(200)
            heard = taps_heard(page)
            if any(not tap["good"] for tap in heard) or page.evaluate(OVER):
                print("a tap was lost on the way:", [t["reason"] for t in heard])
                return None
        wait_state(page, "read", timeout=180_000)
        no_faults(page)
        return page


def turn_everything(page: Page) -> None:
    """Work through the turn list by the space bar; the last press starts the next round."""
    page.keyboard.press("Space")
    wait_state(page, "turning")
    while page.get_by_text("All turned").count() == 0:
        page.keyboard.press("Space")
        page.wait_for_timeout(100)
    page.keyboard.press("Space")


def test_from_opening_the_page_to_an_even_head(tmp_path: Path) -> None:
    drum = practice_drum(load_drum(DRUM), seed=1)
    before = float(np.sqrt(np.mean(drum.deviations() ** 2)))
    hand = np.random.default_rng(0)
    with running(RealEngine(), tmp_path / "bench") as server:
        for number in range(MOST_ROUNDS):
            play_until_heard(server, drum, tmp_path, number)
            current = server.desk.session.round
            assert current is not None and current.plan is not None
            rms = 100 * float(np.sqrt(np.mean(drum.deviations() ** 2)))
            print(f"round {number + 1}: truth {rms:.2f} % rms, plan {current.plan['order']}")
            if not current.plan["order"]:
                break
            drum = drum.turned(current.plan["rods"], rng=hand)
        else:
            pytest.fail("the head is not even after four rounds")
    assert before > 0.08
    assert float(np.sqrt(np.mean(drum.deviations() ** 2))) < 0.02
    assert float(np.max(np.abs(drum.deviations()))) < 0.05


def play_until_heard(server: BenchServer, drum: PracticeDrum, folder: Path, number: int) -> None:
    """Play a round; one that lost a tap on the way is dropped and played again."""
    for again in range(TRIES):
        if hear_round(server, drum, folder, 10 * number + again) is not None:
            return
        forget_round(server)
    pytest.fail("the fake microphone lost taps in every try")


def forget_round(server: BenchServer) -> None:
    """Drop the spoiled round, whatever the bench made of it."""
    job = server.desk._job
    while job is not None and not job.done():
        pass
    rounds = server.desk.session.rounds[:-1]
    server.desk._reader.forget()
    from dataclasses import replace

    server.desk.session = replace(
        server.desk.session, rounds=rounds, state=State.READY, ear=None, steps=()
    )
