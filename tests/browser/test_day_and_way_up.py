"""The day and the way up in a real browser: a clock switch, a skip, a pale animal, the card."""

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.test_every_page import AXE
from tests.web.acclimation.conftest import brighter, calendar, dated, reef
from tests.web.day.conftest import Reef, switched

__all__ = ["brighter", "calendar", "dated", "reef", "switched"]

pytestmark = pytest.mark.browser

SignIn = Callable[[Page, str], None]
IVO = "ivo@club.example"


def _no_findings(page: Page) -> None:
    found = Axe().run(page, options=AXE)
    assert found.violations_count == 0, found.generate_report()


def test_a_day_is_set_on_a_lamp_that_only_has_a_clock_switch(
    desk: Page, switched: Reef, sign_in_on: SignIn
) -> None:
    page = desk
    sign_in_on(page, IVO)
    page.goto(f"/tanks/{switched.tank}/day")
    page.get_by_role("link", name="Set the day").click()
    page.get_by_label("Lights on").fill("9:00")
    page.get_by_label("Lights off").fill("19:00")
    page.get_by_label("Ramp up, and down").fill("90")
    page.get_by_label("Why").fill("First day under the new switch")
    # the curve follows the typing, and says what a switch cannot do
    expect(page.locator("#day-drawn")).to_contain_text("No dawn and dusk")
    page.get_by_role("button", name="Save the day").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lit 8 h 30 min a day")
    switch = page.get_by_role("table").filter(has_text="Switching times")
    # 10 h less one ramp of 1.5 h is 8.5 h at full, around 14:00
    expect(switch).to_contain_text("09:45")
    expect(switch).to_contain_text("18:15")
    expect(page.get_by_text("No dawn and dusk")).to_be_visible()
    _no_findings(page)


def test_the_arrow_keys_move_a_time_and_redraw_the_curve(
    desk: Page, dated: Reef, sign_in_on: SignIn
) -> None:
    page = desk
    sign_in_on(page, IVO)
    page.goto(f"/tanks/{dated.tank}/day/edit")
    drawn = page.locator("#day-drawn .series-1").first
    before = drawn.get_attribute("d")
    box = page.get_by_label("Lights off")
    box.press("ArrowUp")
    box.press("ArrowUp")
    expect(box).to_have_value("20:30")
    expect(drawn).not_to_have_attribute("d", before or "")
    page.get_by_label("Point by point").check()
    points = page.get_by_label("All lamps")
    points.click()
    points.press("Control+Home")
    points.press("Alt+ArrowDown")
    expect(points).to_have_value("09:45 0\n11:00 100\n19:00 100\n20:00 0")
    _no_findings(page)


def test_the_day_can_be_set_without_scripts(
    browser: Browser, live: str, dated: Reef, sign_in_on: SignIn
) -> None:
    context = browser.new_context(base_url=live, java_script_enabled=False)
    page = context.new_page()
    sign_in_on(page, IVO)
    page.goto(f"/tanks/{dated.tank}/day/edit")
    page.get_by_label("Lights off").fill("21:00")
    page.get_by_role("button", name="Draw it").click()
    expect(page.get_by_label("Lights off")).to_have_value("21:00")
    page.get_by_label("Why").fill("I come home later")
    page.get_by_role("button", name="Save the day").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lit 11 h a day")
    context.close()


def test_from_shaded_to_bright_skipped_then_held_by_something_pale(
    phone: Page, dated: Reef, brighter: int, sign_in_on: SignIn
) -> None:
    page = phone
    sign_in_on(page, IVO)
    page.goto(f"/tanks/{dated.tank}/acclimation?setup={brighter}")
    page.get_by_label("Plate coral").select_option(label="nobody knows")
    page.get_by_label("Staghorn").select_option(label="the light of the tank as it is now")
    page.get_by_role("button", name="Work out the steps").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("6 steps in 5 weeks")
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Step 1 of 6 is due today.")
    page.get_by_label("No, all look well").check()
    page.get_by_role("button", name="Answer and set").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Step 2 of 6 comes on 2 December")
    page.get_by_role("button", name="Skip this step").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Step 2 of 6 comes on 9 December")
    expect(page.get_by_text("Step 2: skipped")).to_be_visible()
    page.get_by_label("Yes").check()
    page.get_by_label("What you saw").fill("the plate coral is white on top")
    page.get_by_role("button", name="Tell it").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("The plan holds before step 2")
    expect(page.get_by_text("The white of the skeleton")).to_be_visible()
    _no_findings(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.get_by_role("button", name="They look well: carry on").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Step 2 of 6 comes on")


def test_the_card_prints_on_one_sheet_without_the_sites_frame(
    desk: Page, dated: Reef, sign_in_on: SignIn, tmp_path: Path
) -> None:
    page = desk
    sign_in_on(page, IVO)
    page.goto(f"/tanks/{dated.tank}/day/card")
    file = tmp_path / "card.pdf"
    page.pdf(path=file, format="A4", margin={"top": "12mm", "bottom": "12mm", "left": "15mm"})
    page.emulate_media(media="print")
    expect(page.locator("header.site")).to_be_hidden()
    expect(page.locator(".no-print")).to_be_hidden()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert len(re.findall(rb"/Type /Page\b", file.read_bytes())) == 1
    words = _text_of(file)
    if words is not None:  # poppler's pdftotext is only there on some machines
        for expected in ("Window reef", "Lantern 90", "10:00", "Unplug before hands"):
            assert expected in words
        assert "Calculators" not in words


def _text_of(file: Path) -> str | None:
    tool = shutil.which("pdftotext")
    if tool is None:
        return None
    done = subprocess.run([tool, "-layout", str(file), "-"], capture_output=True, check=True)
    return done.stdout.decode()
