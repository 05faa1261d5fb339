"""One answer wherever a keeper looks: hang, read it, measure, step the power, type the card.

The keeper does everything by hand in a real browser; after each step the tank's account as JSON
is compared with what six pages say of the same tank.
"""

import re
from dataclasses import dataclass
from typing import Any

import httpx
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from server.db import club_day, days, members, tanks
from server.dose.day import Day
from tests.browser.conftest import Demo
from tests.browser.test_first_round import (
    hang_a_lamp,
    make_a_tank,
    place_an_animal,
    sign_in,
    upload_readings,
)
from tests.web.account.test_one_voice import Visit, agrees, proposes_one_thing

pytestmark = pytest.mark.browser

NAME = "One answer"


@dataclass(frozen=True)
class Looking:
    """The keeper's own browser, as the walk of pages asks for it."""

    context: BrowserContext

    def get(self, address: str) -> Any:
        page = self.context.new_page()
        answer = page.goto(address)
        assert answer is not None
        read = httpx.Response(answer.status, text=page.content())
        page.close()
        return read


def reads_the_same_everywhere(demo: Demo, context: BrowserContext, token: str) -> dict[str, Any]:
    """The account, after six pages were found to say nothing else."""
    headers = {"Authorization": f"Bearer {token}"}
    with demo.club.read() as db:
        (tank,) = [one for one in db.exec(tanks.select(tanks.Tank)) if one.name == NAME]
        setup = tanks.current_setup(db, tank.id)
    assert setup is not None
    account = httpx.get(f"{demo.address}/api/tanks/{tank.id}/account", headers=headers).json()
    visit = Visit(Looking(context), tank.id, setup.id, NAME, account)  # type: ignore[arg-type]  # it gets pages
    for address in ("/tanks/{tank}", "/tanks/{tank}/plan", "/tanks/{tank}/verdict",
                    "/setups/{setup}", "/tanks/{tank}/day", "/tanks/{tank}/dose"):  # fmt: skip
        agrees(visit, address, visit.page(address))
    proposes_one_thing(visit)
    return dict(account)


def step_the_power(page: Page, percent: str) -> None:
    page.goto("/tanks")
    page.get_by_role("link", name=NAME).first.click()
    page.get_by_role("link", name="Change the light").click()
    page.get_by_label("Power").fill(percent)
    page.get_by_label("Why").fill("A step")
    page.locator("main").get_by_role("button", name="Save", exact=True).last.click()
    expect(page.get_by_text(f"at {percent} %").first).to_be_visible()


def gets_a_day(demo: Demo) -> None:
    """Up from 9:20, full from 10:35 to 17:10, dark at 19:45: nothing in it mirrors another."""
    shape = Day(hours=(9 + 1 / 3, 10 + 7 / 12, 17 + 1 / 6, 19.75), levels=(0, 100, 100, 0))
    with demo.club.write() as db:
        (tank,) = [one for one in db.exec(tanks.select(tanks.Tank)) if one.name == NAME]
        words = days.DayWords(since=club_day.today(db), time_zone=club_day.zone(db))
        days.save_schedule(
            db, tank_id=tank.id, words=words, days=[days.GroupDay(day=shape)], by_id=tank.owner_id
        )


def test_the_same_answer_on_six_pages_and_on_the_card(demo: Demo, browser: Browser) -> None:
    context = browser.new_context(base_url=demo.address, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    sign_in(page, "bea")
    with demo.club.write() as db:
        keeper = members.member_by_email(db, "bea@halftide.example")
        assert keeper is not None
        keeper.length_unit = "cm"
        db.add(keeper)
        token = members.make_access_token(db, member_id=keeper.id, name="six pages")
    make_a_tank(page, NAME)
    hang_a_lamp(page)
    place_an_animal(page, "Crown", "Small-polyp stony coral", ("23", "24", "12"))
    place_an_animal(page, "Buttons", "Mushroom or zoanthid", ("36", "10", "38"))
    planned = reads_the_same_everywhere(demo, context, token)
    assert planned["basis"] == "planned" and planned["readings_on"] == []
    page.goto("/tanks")
    page.get_by_role("link", name=NAME).first.click()
    upload_readings(page)
    measured = reads_the_same_everywhere(demo, context, token)
    assert measured["basis"] == "measured" and len(measured["readings_on"]) == 1
    assert measured["known_to_percent"] < planned["known_to_percent"]
    gets_a_day(demo)
    step_the_power(page, "37")
    stepped = reads_the_same_everywhere(demo, context, token)
    assert stepped["basis"] in ("carried", "measured")
    assert stepped["readings_on"] == measured["readings_on"], "nobody has to measure anew"
    for before, after in zip(measured["animals"], stepped["animals"], strict=True):
        assert after["ppfd"] == pytest.approx(before["ppfd"] * 37 / 42, rel=0.02)
    the_card_says_what_to_type(demo, page, stepped)
    context.close()


def the_card_says_what_to_type(demo: Demo, page: Page, account: dict[str, Any]) -> None:
    """Each number of the account stands on the card, and no other percentage of a lamp."""
    page.goto("/tanks")
    page.get_by_role("link", name=NAME).first.click()
    tank = page.url.rstrip("/").rsplit("/", 1)[-1]
    page.goto(f"/tanks/{tank}/day/card")
    told = page.locator("main").inner_text()
    wanted = {line["type_percent"] for line in account["set_now"]} - {None, 0.0}
    assert wanted, "a lamp that dims has a number to type"
    for percent in wanted:
        assert re.search(rf"\b{percent:g} ?%", told), (percent, told[:600])
    others = {float(one) for one in re.findall(r"(\d+(?:\.\d)?) ?%", told)} - {0.0, 100.0}
    assert others <= wanted, "two numbers for one dimmer"
