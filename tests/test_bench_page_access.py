"""Every view in both themes: axe-core finds nothing, the keyboard reaches everything."""

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.bench_browser import ALLOW, PHONE, chromium, no_faults, open_page, put_on_bench
from tests.bench_scripted import ScriptedEngine
from tests.bench_server import running
from tests.bench_tour import VIEWS, room_file, visit
from tests.needs import go_without
from tests.test_bench_page_round import wait_state

pytestmark = pytest.mark.browser

AXE = Path(__file__).parent.parent / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def findings(page: Page, kind: str = "tag", values: list[str] = RULES) -> list[str]:
    """What axe-core finds by rules with these tags, one line for each element."""
    result: dict[str, Any] = page.evaluate(
        "([type, values]) => axe.run(document, { runOnly: { type, values } })", [kind, values]
    )
    return [
        f"{v['id']}: {node['html'][:120]} ({node['failureSummary'][:160]})"
        for v in result["violations"]
        for node in v["nodes"]
    ]


def small_targets(page: Page) -> list[str]:
    """Controls lower than 24 pixels."""
    found: list[str] = page.evaluate(
        """() => [...document.querySelectorAll('button, select, input[type=checkbox]')]
          .filter((b) => b.getClientRects().length && b.getBoundingClientRect().height < 24)
          .map((b) => b.outerHTML.slice(0, 90))"""
    )
    return found


def too_wide(page: Page) -> list[str]:
    """Something reaches beyond the right edge."""
    wide: int = page.evaluate(
        "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return [f"{wide} pixels too wide"] if wide > 0 else []


def out_of_reach(page: Page) -> list[str]:
    """Controls that the tab key does not come to."""
    page.evaluate("() => document.body.focus()")
    keys = page.locator(
        "button:not([disabled]):visible, select:visible, [role=button]:visible"
    ).evaluate_all("(all) => all.map((e) => e.dataset.key)")
    reached = set()
    for _ in range(len(keys) + 40):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("() => document.activeElement?.dataset?.key ?? null"))
        if reached >= set(keys):
            break
    return [f"no way to {key} by tab" for key in keys if key not in reached]


def test_every_view_is_open_to_everyone(tmp_path: Path) -> None:
    """axe-core in both themes, nothing wider than a phone, all controls by tab."""
    if not AXE.exists():
        go_without("axe", "axe-core is not installed; run npm ci")
    source = AXE.read_text(encoding="utf-8")
    told: dict[str, list[str]] = {}
    with chromium(*ALLOW, sound=room_file(tmp_path)) as browser:
        for view in VIEWS:
            page, server = visit(view, browser, tmp_path / view.name, bypass_csp=True)
            page.evaluate(source)
            found = findings(page) + out_of_reach(page)
            page.emulate_media(color_scheme="dark")
            # of axe-core's rules only this one looks at colours
            found += [f"dark: {line}" for line in findings(page, "rule", ["color-contrast"])]
            page.set_viewport_size(PHONE)  # type: ignore[arg-type]
            told[view.name] = found + too_wide(page) + small_targets(page)
            no_faults(page)
            page.context.close()
            server.stop()
    assert {name: found for name, found in told.items() if found} == {}


def test_a_whole_practice_loop_by_keyboard_alone(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path) as server, chromium() as browser:
        page = open_page(browser, server.address)
        page.locator("[data-key=begin]").wait_for()
        for _ in range(40):
            page.keyboard.press("Tab")
            if page.evaluate("() => document.activeElement?.getAttribute('name')") == "practice":
                break
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
        wait_state(page, "ready")
        page.keyboard.press("Space")
        wait_state(page, "listening")
        page.keyboard.press("Space")
        expect(page.locator("[data-test=cue]")).to_contain_text("rod 1 again")
        page.keyboard.press("ArrowLeft")
        expect(page.locator("[data-test=cue]")).to_have_text("Tap rod 1")
        for taps in range(20):
            expect(page.locator(".sheet small").first).to_contain_text(f"{taps} of 20")
            page.keyboard.press("Space")
        wait_state(page, "read")
        page.keyboard.press("PageDown")
        wait_state(page, "turning")
        first = page.locator("[data-test=turn]").inner_text()
        page.keyboard.press("PageDown")
        expect(page.locator("[data-test=turn]")).not_to_have_text(first)
        page.keyboard.press("PageUp")
        expect(page.locator("[data-test=turn]")).to_have_text(first)
        while page.get_by_text("All turned").count() == 0:
            page.keyboard.press("Space")
            page.wait_for_timeout(60)
        page.keyboard.press("Space")
        wait_state(page, "listening")
        assert server.desk.session.rounds[0].turned is not None
        no_faults(page)


def test_the_numbers_follow_the_units(tmp_path: Path) -> None:
    read = next(v for v in VIEWS if v.name == "read")
    with chromium() as browser:
        page, server = visit(read, browser, tmp_path)
        turns = page.locator(".turns")
        expect(turns).to_contain_text("1/16 turn")
        page.keyboard.press("u")
        page.locator("[name=u-turn][value=degrees]").check(force=True)
        page.locator("[name=u-tension][value=cents]").check(force=True)
        page.locator("[name=u-length][value=mm]").check(force=True)
        page.keyboard.press("Escape")
        expect(turns).to_contain_text("Tighten 23°")
        expect(page.locator("table")).to_contain_text("cents slack")
        expect(page.locator("#header")).to_contain_text("356 mm × 152 mm")
        page.reload()
        expect(page.locator(".turns")).to_contain_text("Tighten 23°")
        server.stop()


def test_less_motion_stops_the_dots(tmp_path: Path) -> None:
    reading = next(v for v in VIEWS if v.name == "reading")
    with chromium() as browser:
        page, server = visit(reading, browser, tmp_path, reduced_motion="reduce")
        moving = page.locator(".working i").first.evaluate(
            "(e) => getComputedStyle(e).animationName"
        )
        assert moving == "none"
        server.stop()


def test_the_drum_can_be_described_and_put_on_the_bench(tmp_path: Path) -> None:
    with running(ScriptedEngine(), tmp_path) as server, chromium() as browser:
        page = open_page(browser, server.address)
        page.get_by_label("Size").select_option("own")
        page.get_by_label("Rods on a side").fill("99")
        page.get_by_label("Name").fill("Kitchen drum")
        page.get_by_role("button", name="Put it on the bench").click()
        expect(page.get_by_role("alert")).to_contain_text("rods = 99")
        page.get_by_label("Rods on a side").fill("8")
        page.get_by_role("button", name="Put it on the bench").click()
        expect(page.locator("#header")).to_contain_text("Kitchen drum")
        page.get_by_role("button", name="Drum", exact=True).click()
        put_on_bench(page, "snare-13x6")
        expect(page.locator("#header")).to_contain_text("8 rods")
        no_faults(page)
