"""The whole round as a member does it: plan a light, prove it, read the verdict, lend the meter."""

import re
from datetime import date, timedelta

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlmodel import col, select

from server import places
from server.db import club_day, meters
from server.db.demo.club import PASSWORD
from server.models import LoanDay
from tests.browser.conftest import Demo

pytestmark = pytest.mark.browser

DAY = timedelta(days=1)
SHEET = places.SEED / "readings-to-upload.csv"


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_the_first_whole_round(demo: Demo, browser: Browser, scripts: bool) -> None:
    context = browser.new_context(
        base_url=demo.address,
        viewport={"width": 360, "height": 740},
        java_script_enabled=scripts,
    )
    page = context.new_page()
    sign_in(page, "signe" if scripts else "tomas")
    make_a_tank(page, "The round" if scripts else "The plain round")
    hang_a_lamp(page)
    place_an_animal(page, "Crown", "Small-polyp stony coral", ("23", "24", "12"))
    place_an_animal(page, "Buttons", "Mushroom or zoanthid", ("36,0", "10,0", "38"))
    see_the_plan(page)
    upload_readings(page)
    read_the_verdict(page)
    borrow_the_meter(page, demo, first=30 if scripts else 40)
    context.close()


def sign_in(page: Page, name: str) -> None:
    page.goto("/")
    page.locator("main").get_by_role("link", name="Sign in").click()
    page.get_by_label("E-mail address").fill(f"{name}@halftide.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()


def make_a_tank(page: Page, name: str) -> None:
    """Five answers, then the back wall and cover from the folded part."""
    page.goto("/tanks")
    page.get_by_role("link", name=re.compile("Add (a|your first) tank")).click()
    page.get_by_label("Name").fill(name)
    page.get_by_label("Length").fill("45")
    page.get_by_label("Width").fill("45,0")
    page.get_by_label("Water depth").fill("43")
    page.get_by_text("More detail").click()
    page.get_by_label("Back wall").select_option("black")
    page.get_by_label("Floor", exact=True).select_option("rockwork")
    page.get_by_label("A clear pane lies over the water").check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"No light over {name} yet")


def hang_a_lamp(page: Page) -> None:
    page.get_by_role("link", name="Hang a lamp over it").click()
    page.get_by_label("Which lamp").select_option(label="Gull 24: LED cluster, 95 W")
    page.get_by_label("Height").fill("26")
    page.get_by_label("Power").fill("42")
    page.get_by_label("Why").fill("First light")
    page.locator("main").get_by_role("button", name="Save", exact=True).last.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("µmol m⁻² s⁻¹ on average")
    expect(page.get_by_text("26 cm above the water at 42 %")).to_be_visible()


def place_an_animal(page: Page, name: str, group: str, at: tuple[str, str, str]) -> None:
    page.get_by_role("link", name="Place an animal").click()
    page.get_by_label("Name").fill(name)
    page.get_by_label("What it is").select_option(label=group)
    labels = ("From the left wall", "From the front pane", "Depth")
    for label, value in zip(labels, at, strict=True):
        page.get_by_role("textbox", name=label).fill(value)
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("row", name=re.compile(name))).to_be_visible()


def see_the_plan(page: Page) -> None:
    """Nobody measured yet, so the plan calls nobody in range; it shows all three views."""
    expect(page.get_by_role("row", name=re.compile("Crown.*not known"))).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("Buttons.*too bright"))).to_be_visible()
    page.get_by_role("link", name="Plan", exact=True).click()
    for view in ("From the front", "From the right side", "From above"):
        expect(page.get_by_role("heading", name=re.compile(view))).to_be_visible()
    expect(page.locator("svg .contour-number").first).to_be_attached()
    page.get_by_role("navigation", name="Where you are").get_by_role("link").last.click()


def upload_readings(page: Page) -> None:
    """Decimal commas and semicolons are understood and shown before anything is stored."""
    page.get_by_role("link", name="Readings", exact=True).click()
    page.get_by_role("link", name="Begin with the first readings").click()
    page.get_by_label("File", exact=True).set_input_files(SHEET)
    page.get_by_role("button", name="Show what was understood").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("14")
    expect(page.get_by_role("row", name=re.compile(r"23.*24.*12.*216"))).to_be_visible()
    page.get_by_role("button", name="Store 14 readings").click()
    expect(page.get_by_text("Crown").or_(page.get_by_text("Top branch")).first).to_be_visible()


def read_the_verdict(page: Page) -> None:
    """The readings say that the lamp gives less than stated; one animal stays too bright."""
    page.goto("/tanks")
    page.get_by_role("link", name=re.compile("round$")).first.click()
    page.get_by_role("link", name="Verdict", exact=True).click()
    main = page.locator("main")
    expect(main).to_contain_text("Buttons")
    expect(main).to_contain_text("too bright")
    expect(main).to_contain_text(re.compile(r"in range|not known"))
    expect(page.locator("svg .sounding").first).to_be_attached()


def borrow_the_meter(page: Page, demo: Demo, *, first: int) -> None:
    """Three days are booked, the last of them given back, and then free for others."""
    with demo.club.read() as db:
        day = club_day.today(db) + timedelta(days=first)
    page.goto("/meters")
    page.locator("main").get_by_role("link", name="Grey case").first.click()
    page.get_by_label("First day").fill(day.isoformat())
    page.get_by_label("Last day").fill((day + timedelta(days=2)).isoformat())
    page.get_by_role("button", name="Book these days").click()
    expect(page.get_by_role("heading", name="Give days back")).to_be_visible()
    assert held(demo, day) == 3
    page.get_by_label("Which days").select_option(index=1)
    page.get_by_role("button", name="Give back").click()
    expect(page.locator("main")).to_be_visible()
    assert held(demo, day) == 2


def held(demo: Demo, first: date) -> int:
    """Days from that one on that the grey case is taken."""
    with demo.club.read() as db:
        grey = next(one for one in meters.all_meters(db) if one.name == "Grey case")
        days = select(LoanDay).where(
            LoanDay.meter_id == grey.id, first <= col(LoanDay.day), LoanDay.day < first + 3 * DAY
        )
        return len(db.exec(days).all())


def test_an_animal_is_placed_by_tapping_the_charts(demo: Demo, browser: Browser) -> None:
    """A tap in the middle from above, then one low in the front view, fills in all three."""
    context = browser.new_context(base_url=demo.address, viewport={"width": 1280, "height": 1400})
    page = context.new_page()
    sign_in(page, "ivo")
    page.goto("/tanks/3/animals/new")
    fields = [page.get_by_role("textbox", name=name) for name in ("left wall", "pane", "Depth")]
    tap(page, "above", across=0.25, down=0.8)
    left, front, depth = (float(field.input_value() or "-1") for field in fields)
    assert left == pytest.approx(0.25 * 45, abs=0.5)
    assert front == pytest.approx(0.2 * 45, abs=0.5)
    assert depth == -1, "from above nobody can see how deep"
    tap(page, "front", across=0.5, down=0.5)
    left, front, depth = (float(field.input_value()) for field in fields)
    assert left == pytest.approx(22.5, abs=0.5) and depth == pytest.approx(21.5, abs=0.5)
    page.get_by_label("What it is").select_option("small_polyp")
    assert page.get_by_label("At least").get_attribute("placeholder") == "200"
    context.close()


def tap(page: Page, chart: str, *, across: float, down: float) -> None:
    """Presses a place inside the glass of a drawn view, as shares of its width and height."""
    glass = page.locator(f"figure[data-chart={chart}] svg.drawing-wide > rect").first
    glass.scroll_into_view_if_needed()
    box = glass.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])
