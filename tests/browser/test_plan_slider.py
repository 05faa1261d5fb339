"""The height slider on the plan page, in a real browser against a real server."""

import re
import time

import pytest
from playwright.sync_api import Page, expect

from server.db.engine import Database
from tests.conftest import Cast
from tests.web.planner.conftest import Reef, make_reef

LEAST_A_SECOND = 10
MOST_TRIES = 8


@pytest.fixture
def reef(club: Database, cast: Cast) -> Reef:
    assert cast.ivo.id is not None
    return make_reef(club, cast.ivo.id)


def redraws(page: Page) -> int:
    return int(page.evaluate("Number(document.documentElement.dataset.redraws || 0)"))


def over_the_water(page: Page) -> float:
    """How high the first lamp is drawn over the water line [SVG units]."""
    water = page.locator("[data-part=front-wide] .water").get_attribute("d") or ""
    lamp = page.locator("[data-part=front-wide] .overhead").first.get_attribute("y") or "0"
    return float(water.split(" ")[1].split("H")[0]) - float(lamp)


@pytest.mark.browser
def test_dragging_the_height_redraws_from_the_server_ten_times_a_second(
    desk: Page, sign_in_on, reef: Reef
) -> None:
    sign_in_on(desk, "ivo@club.example")
    desk.goto(f"/tanks/{reef.tank}/plan")
    slider = desk.get_by_label("Height over water, slider").first
    box = slider.bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    left, right = box["x"] + 0.25 * box["width"], box["x"] + 0.85 * box["width"]
    desk.mouse.move(left, y)
    desk.mouse.down()
    time.sleep(0.5)  # let the first drawing warm the engine
    rates: list[float] = []
    while len(rates) < MOST_TRIES and not (rates and rates[-1] >= LEAST_A_SECOND):
        # Other programs share this machine: one undisturbed stretch is what is looked for.
        before, start = redraws(desk), time.monotonic()
        while (passed := time.monotonic() - start) < 2.0:
            share = abs((passed * 0.5) % 2 - 1)
            desk.mouse.move(left + (right - left) * share, y)
            time.sleep(0.008)
        rates.append((redraws(desk) - before) / (time.monotonic() - start))
    desk.mouse.up()
    print(f"\nredraws a second while dragging: {', '.join(f'{rate:.1f}' for rate in rates)}")
    assert max(rates) >= LEAST_A_SECOND


@pytest.mark.browser
def test_arrow_keys_and_typing_move_the_lamp_and_the_address_keeps_it(
    desk: Page, sign_in_on, reef: Reef
) -> None:
    sign_in_on(desk, "ivo@club.example")
    desk.goto(f"/tanks/{reef.tank}/plan")
    height = desk.get_by_label("Height over water", exact=True).first
    was = over_the_water(desk)
    desk.get_by_label("Height over water, slider").first.focus()
    for _ in range(3):
        desk.keyboard.press("ArrowRight")
    expect(height).to_have_value("28")
    desk.wait_for_url(re.compile("h0=28"))
    assert over_the_water(desk) > was
    height.fill("12,5")
    desk.wait_for_url(re.compile("h0=12%2C5"))
    assert over_the_water(desk) < was
    desk.reload()
    expect(desk.get_by_label("Height over water", exact=True).first).to_have_value("12,5")
    expect(desk.get_by_role("heading", name="What would change")).to_be_visible()


@pytest.mark.browser
def test_without_javascript_the_form_does_the_same(
    browser, live: str, sign_in_on, reef: Reef
) -> None:
    context = browser.new_context(base_url=live, java_script_enabled=False)
    page = context.new_page()
    sign_in_on(page, "ivo@club.example")
    page.goto(f"/tanks/{reef.tank}/plan")
    expect(page.get_by_label("Height over water, slider").first).to_be_hidden()
    was = over_the_water(page)
    page.get_by_label("Height over water", exact=True).first.fill("40")
    page.get_by_role("button", name="Redraw the charts").click()
    assert over_the_water(page) > was
    page.get_by_label("A name for it").fill("Higher")
    page.get_by_role("button", name="Keep this as a new setup").click()
    expect(page.get_by_text("Kept as a plan.")).to_be_visible()
    context.close()
