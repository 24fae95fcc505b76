"""Rounds that go halfway too, in a real browser: chosen, asked for, tapped and sorted."""

from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from hoopwise.bench.engine import RealEngine
from tests.bench_browser import PHONE, chromium, no_faults, open_page, put_on_bench
from tests.bench_scripted import ScriptedEngine
from tests.bench_server import running
from tests.bench_tour import VIEWS, visit
from tests.test_bench_page_files import round_file
from tests.test_bench_page_round import wait_state

pytestmark = pytest.mark.browser


def go_halfway(page: Page) -> None:
    page.locator("[name=order][value=halfway]").check(force=True)


def expect_cue(page: Page, words: str) -> None:
    expect(page.locator("[data-test=cue]")).to_have_text(words)


def heights(page: Page) -> list[float]:
    """Of the large sign and of what a finger hits below it."""
    found: list[float] = page.evaluate(
        """() => ['.bignum', '.beads button']
          .map((one) => document.querySelector(one).getBoundingClientRect().height)"""
    )
    return found


def test_a_practice_round_halfway_too_comes_to_its_reading(tmp_path: Path) -> None:
    with running(RealEngine(), tmp_path) as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page, practice=True)
        expect(page.locator(".plan .lug")).to_have_count(6)
        go_halfway(page)
        expect(page.locator(".plan .lug")).to_have_count(12)
        page.get_by_role("button", name="Start a practice round").click()
        wait_state(page, "listening")
        expect_cue(page, "Tap rod 1")
        page.locator("[data-key=tap]").press("Space")
        expect_cue(page, "Tap halfway between rods 1 and 2")
        expect(page.locator(".bignum span")).to_have_text(["1", "2"])
        expect(page.locator("#aloud")).to_have_text("Between 1 and 2")
        expect(page.locator(".cue")).to_contain_text("midway between the two rods")
        page.get_by_role("button", name="Tap halfway between rods 6 and 1, 0 of 1").click()
        expect(page.locator("[data-test=verdict]")).to_contain_text("Between 6 and 1: good")
        for taps in range(2, 12):
            expect(page.locator(".sheet small").first).to_contain_text(f"{taps} of 12")
            page.locator("[data-key=tap]").press("Space")
        wait_state(page, "read", timeout=60_000)
        expect(page.locator(".rim")).to_be_visible()
        [done] = server.desk.session.rounds
        assert [t.rod for t in done.taps] == [1, 6.5, *(1.5 + i / 2 for i in range(10))]
        assert done.reading is not None and done.reading["left_out"] == []
        no_faults(page)


def test_the_next_place_is_chosen_by_mark_bead_and_key(tmp_path: Path) -> None:
    running_round = next(v for v in VIEWS if v.name == "listening-halfway")
    silent = replace(running_round, after=lambda page, server: None)
    with chromium() as browser:
        page, server = visit(silent, browser, tmp_path, size=PHONE)
        try:
            expect_cue(page, "Tap halfway between rods 7 and 8")
            between = heights(page)
            page.get_by_role("button", name="Go to halfway between rods 9 and 10").first.click()
            expect_cue(page, "Tap halfway between rods 9 and 10")
            page.keyboard.press("ArrowRight")
            expect_cue(page, "Tap rod 10")
            assert heights(page) == pytest.approx(between, abs=2)
            assert heights(page)[1] >= 44
            page.keyboard.press("ArrowRight")
            expect_cue(page, "Tap halfway between rods 10 and 1")
            page.locator("[data-key='bead-2.5']").click()
            expect_cue(page, "Tap halfway between rods 2 and 3 again, same place")
            no_faults(page)
        finally:
            server.stop()


@pytest.mark.parametrize("name", ["read-halfway", "read-or-halfway"])
def test_a_reading_that_asks_for_it_makes_the_next_round_go_halfway(
    tmp_path: Path, name: str
) -> None:
    view = next(v for v in VIEWS if v.name == name)
    with chromium() as browser:
        page, server = visit(view, browser, tmp_path)
        try:
            asked = page.get_by_role("button", name="Tap halfway too from now on")
            expect(asked).to_have_attribute("aria-pressed", "true")
            asked.click()
            expect(asked).to_have_attribute("aria-pressed", "false")
            asked.click()
            page.reload()
            expect(page.locator(".sheet [role=status]")).to_contain_text("halfway to the next")
            page.get_by_role("button", name="Listen again").click()
            wait_state(page, "listening")
            assert server.desk.session.round is not None
            assert len(server.desk.session.round.places) == 20
            no_faults(page)
        finally:
            server.stop()


def test_taps_of_a_recording_are_given_to_places_halfway(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path / "bench") as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        go_halfway(page)
        page.locator("#files").set_input_files(round_file(tmp_path))
        rows = page.locator(".taps li")
        expect(rows).to_have_count(12)
        expect(rows.nth(11)).to_contain_text("halfway between rods 6 and 1")
        rows.nth(2).get_by_role("button").first.click()
        page.get_by_role("button", name="Give to halfway between rods 4 and 5").click()
        expect(rows.nth(2)).to_contain_text("halfway between rods 4 and 5")
        rows.nth(11).get_by_role("button", name="Leave out").click()
        expect(rows.nth(11)).to_contain_text("no place")
        no_faults(page)


def test_a_way_round_that_the_page_does_not_know_is_forgotten(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path) as server, chromium() as browser:
        page = open_page(browser, server.address)
        put_on_bench(page)
        go_halfway(page)
        page.locator("[name=taps][value='4']").check(force=True)
        page.reload()
        expect(page.locator("[name=order]:checked")).to_have_value("halfway")
        expect(page.locator("[name=taps]:checked")).to_have_value("4")
        page.evaluate("() => localStorage.setItem('hoopwise-bench', '{\"order\": \"between\"}')")
        page.reload()
        expect(page.locator("[name=order]:checked")).to_have_value("around")
        no_faults(page)
