"""From a plan to a sure verdict: upload twelve readings, see the doubt shrink, measure where told.

The meter is a calculation: every lamp gives 78 % of what it states, and a hand is 4 % off.
"""

import re
from collections.abc import Callable

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from server.db.engine import Database
from server.surveys.estimate import estimate
from server.surveys.plan import Reading
from tests.conftest import Cast
from tests.web.measured.measuring import (
    add_animal,
    as_table,
    plan_of,
    real_light,
    scattered,
    store,
    twelve_places,
)
from tests.web.planner.conftest import Reef, reef

__all__ = ["reef"]

pytestmark = pytest.mark.browser
SignInOn = Callable[[Page, str], None]
NAME = "Corner crust"
AXE = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    }
}


@pytest.fixture
def crust(club: Database, reef: Reef) -> Reef:
    """One more animal, far from where the twelve readings are taken.

    The lower end of its range lies where twelve readings leave one chance in four that it is not
    reached: too much for a verdict, little enough for one more reading to settle.
    """
    plan = plan_of(club, reef.tank, reef.setup)
    points = twelve_places(plan)
    light = scattered(real_light(plan, points))
    readings = [
        Reading(x_cm=x, y_cm=y, depth_cm=z, ppfd=e)
        for (x, y, z), e in zip(points.tolist(), light.tolist(), strict=True)
    ]
    place = np.array([84.0, 38.0, 40.0])
    told = estimate(plan, readings).at(place)
    low = next(e for e in np.linspace(50, 400, 3501) if told.chance_below(e)[0] > 0.25)
    with club.write() as db:
        add_animal(db, reef.tank, NAME, place, float(low), float(3 * low))
    return reef


def row_of(page: Page, name: str) -> Locator:
    return page.locator("table.who tbody tr").filter(has_text=name)


def spread_of(page: Page, name: str) -> float:
    """The half-width printed beside an animal's light."""
    found = re.search(r"±\s*([\d.]+)", row_of(page, name).inner_text())
    assert found is not None
    return float(found.group(1))


def hatched(page: Page) -> int:
    """Hatched areas on the charts that are shown."""
    return page.locator("svg.drawing-wide path[fill^='url(#']").count()


def test_twelve_readings_and_one_more_where_told_settle_the_verdict(
    desk: Page, club: Database, cast: Cast, crust: Reef, sign_in_on: SignInOn
) -> None:
    sign_in_on(desk, "ivo@club.example")
    desk.goto(f"/tanks/{crust.tank}/verdict")
    expect(row_of(desk, NAME)).to_contain_text("not known")
    doubt, areas = spread_of(desk, NAME), hatched(desk)
    assert areas >= 3

    plan = plan_of(club, crust.tank, crust.setup)
    points = twelve_places(plan)
    desk.goto(f"/tanks/{crust.tank}/sessions/new")
    table = as_table(points, scattered(real_light(plan, points)))
    desk.get_by_label("Or paste the rows here").fill(table)
    desk.get_by_role("button", name="Show what was understood").click()
    desk.get_by_role("button", name="Store 12 readings").click()

    desk.goto(f"/tanks/{crust.tank}/verdict")
    expect(desk.locator(".sure").first).to_contain_text("from 12 readings")
    assert spread_of(desk, NAME) < doubt / 2
    assert hatched(desk) < areas
    expect(row_of(desk, NAME)).to_contain_text("not known")

    desk.get_by_role("link", name="Measure here next").click()
    expect(desk).to_have_url(re.compile(r"/enter\?x="))
    asked = {
        name: float(value.replace(",", "."))
        for name, value in re.findall(r"(x|y|depth)=([\d.,]+)", desk.url)
    }
    place = np.array([[asked["x"], asked["y"], asked["depth"]]])
    value = f"{1.03 * real_light(plan, place)[0]:.0f}"
    desk.locator("#value").fill(value)
    desk.get_by_role("button", name="Keep, next point").click()
    expect(desk.locator("#entry-state")).to_have_text("All sent.")

    desk.goto(f"/tanks/{crust.tank}/verdict")
    expect(desk.locator(".sure").first).to_contain_text("from 13 readings")
    expect(row_of(desk, NAME).locator(".verdict")).to_have_text("in range")
    assert Axe().run(desk, options=AXE).violations_count == 0


@pytest.mark.parametrize("path", ["verdict", "difference"])
def test_the_pages_hold_at_360_px_and_axe_finds_nothing(
    phone: Page, club: Database, crust: Reef, sign_in_on: SignInOn, path: str
) -> None:
    plan = plan_of(club, crust.tank, crust.setup)
    points = twelve_places(plan)
    store(club, crust.tank, crust.setup, points, scattered(real_light(plan, points)))
    sign_in_on(phone, "ivo@club.example")
    phone.goto(f"/tanks/{crust.tank}/{path}")
    wide = phone.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360
    assert Axe().run(phone, options=AXE).violations_count == 0
