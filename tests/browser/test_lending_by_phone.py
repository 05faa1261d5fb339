"""The meter goes round by phone: queue, offer, label, late, and who was told."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from server.db import club_day, loans, meters
from server.db.engine import Database
from server.lending.calendar import Stretch
from server.models import Meter
from tests.conftest import Cast

pytestmark = pytest.mark.browser


@pytest.fixture
def meter(club: Database) -> Meter:
    with club.write() as db:
        return meters.add_meter(
            db,
            name="Blue meter",
            reads="PPFD 400–700 nm",
            immersion_factor=1.08,
            case_contents="meter\nsensor on its cable",
            keeper="Mara, 5 Quay Lane",
        )


@pytest.fixture
def today(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db)


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def phones(
    request: pytest.FixtureRequest,
    browser: Browser,
    live: str,
    sign_in_on: Callable[[Page, str], None],
) -> Iterator[Callable[[str], Page]]:
    """A phone for each member, signed in."""
    opened: list[BrowserContext] = []

    def phone_of(email: str) -> Page:
        context = browser.new_context(
            base_url=live,
            viewport={"width": 360, "height": 740},
            has_touch=True,
            is_mobile=True,
            java_script_enabled=request.param,
        )
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        sign_in_on(page, email)
        return page

    yield phone_of
    for context in opened:
        context.close()


def test_join_the_queue_take_an_offer_hand_over_by_the_label_and_be_late(
    phones: Callable[[str], Page],
    club: Database,
    cast: Cast,
    meter: Meter,
    today: date,
) -> None:
    assert cast.ivo.id is not None and meter.id is not None
    with club.write() as db:
        two_days = Stretch(today, today + timedelta(days=1))
        loan, no = loans.pick(db, meter.id, cast.ivo.id, two_days, today=today)
        assert loan is not None, no

    # Tess joins the queue, is offered the days behind Ivo, and takes them.
    tess = phones("tess@club.example")
    tess.goto("/meters")
    tess.get_by_role("link", name="Ask for days of Blue meter").click()
    tess.get_by_label("a routine check").check()
    tess.get_by_label("How many days").fill("2")
    tess.get_by_role("button", name="Join the queue").click()
    expect(tess.get_by_role("heading", name="You are number 1 in the queue")).to_be_visible()
    expect(tess.get_by_text("is offered to you")).to_be_visible()
    tess.get_by_role("button", name="Take these days").first.click()
    expect(tess.get_by_role("status")).to_have_text("The days are yours.")

    # Ivo collects the meter by its label.
    ivo = phones("ivo@club.example")
    ivo.goto(f"/m/{meter.label_code}")
    ivo.get_by_label("sensor on its cable").check()
    ivo.get_by_role("button", name="I have it now").click()
    expect(ivo.get_by_text("You have it, due back on")).to_be_visible()

    # He is late, and sees who was told; she reads it.
    ivo.get_by_label("Until when").fill(f"{today + timedelta(days=3)}")
    ivo.get_by_role("button", name="Say so").click()
    told = ivo.get_by_role("region", name="Who was told")
    expect(told.get_by_text("Tess", exact=True)).to_be_visible()
    tess.goto("/messages")
    expect(tess.get_by_text("The holder will bring the meter back late.")).to_be_visible()

    # Then he passes it on after all; both confirm on their own phones.
    ivo.goto(f"/m/{meter.label_code}")
    ivo.get_by_role("button", name="Confirm: I handed it over").click()
    expect(ivo.get_by_text("Waiting for Tess to scan the label")).to_be_visible()
    tess.goto(f"/m/{meter.label_code}")
    tess.get_by_label("meter", exact=True).first.check()
    tess.get_by_label("sensor on its cable").first.check()
    tess.get_by_role("button", name="Confirm: I received it").click()
    expect(tess.get_by_role("status")).to_have_text("Handed over. Thank you both.")
    expect(tess.get_by_text("You have it, due back on")).to_be_visible()

    for page in (ivo, tess):
        for address in ("/meters", f"/meters/{meter.id}", f"/meters/{meter.id}/handover"):
            page.goto(address)
            width = page.viewport_size["width"] if page.viewport_size else 0
            box = page.locator("main").bounding_box()
            assert box is not None and box["width"] <= width
