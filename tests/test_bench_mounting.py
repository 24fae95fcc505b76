"""The Mount step shows the planned passes, goes through them, and says where to stop."""

from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import expect

from hoopwise.bench.mounting import show_mounting
from hoopwise.bench.views import show_session
from hoopwise.drum import Film, load_drum
from hoopwise.plan.first_pass import first_passes
from tests.bench_browser import PHONE, chromium, no_faults
from tests.bench_tour import VIEWS, visit

MOUNT = next(view for view in VIEWS if view.name == "mount")


def test_the_passes_shown_are_the_planned_ones() -> None:
    session = MOUNT.session
    plan = first_passes(session.known_drum, session.side, session.other_head)
    shown = show_session(session)["mounting"]
    assert [one["turns"] for one in shown["passes"]] == [one.turns for one in plan.passes]
    assert shown["seat_note_hz"] == pytest.approx(plan.seat_note_hz, rel=1e-5)
    assert shown["fine_turns"] == plan.fine_turns
    assert shown["sentences"] == list(plan.sentences)


def test_passes_are_shown_while_mounting_only() -> None:
    assert show_session(replace(MOUNT.session, stage="even"))["mounting"] is None


def test_a_drum_outside_the_model_has_no_planned_passes() -> None:
    drum = load_drum("snare-14x5.5")
    board = replace(drum, batter=replace(drum.batter, film=Film(0.01)))
    assert show_mounting(board, "batter", "off") is None


@pytest.mark.browser
def test_another_pass_goes_by_the_next_planned_step(tmp_path: Path) -> None:
    plan = first_passes(MOUNT.session.known_drum, MOUNT.session.side, MOUNT.session.other_head)
    assert [one.turns for one in plan.passes[:2]] == [0.5, 0.25]
    with chromium() as browser:
        page, server = visit(MOUNT, browser, tmp_path, size=PHONE)
        try:
            lead = page.locator("h1.lead")
            expect(lead).to_contain_text("by 1/2 turn")
            for left in range(plan.order.index(6) + 1, len(plan.order)):
                page.get_by_role("button", name=f"Rod {plan.order[left]} done").click()
            expect(lead).to_have_text("Pass 1 done")
            expect(page.locator("#view")).to_contain_text(f"{plan.seat_note_hz:.1f} Hz")
            page.get_by_role("button", name="Another pass").click()
            expect(lead).to_have_text("Tighten rod 1 by 1/4 turn")
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= PHONE["width"]
            no_faults(page)
        finally:
            server.stop()
