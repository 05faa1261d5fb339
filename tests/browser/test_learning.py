"""Members learn from each other, in a real browser: compare, try on, find a lamp, take along."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, Page, expect

from server.db import schema, secrets
from server.db.bundle import pack
from server.db.engine import Database, open_database
from server.db.members import add_member, make_club
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import PASSWORD, Cast, serving
from tests.web.compare.test_compare import Things, things

__all__ = ["things"]
pytestmark = pytest.mark.browser

SignIn = Callable[[Page, str], None]


def test_compare_own_shared_and_earlier(desk: Page, sign_in_on: SignIn, things: Things) -> None:
    sign_in_on(desk, "ivo@club.example")
    desk.get_by_role("navigation", name="Main").get_by_role("link", name="Compare").click()
    own = desk.get_by_role("group", name="Yours")
    own.get_by_label("from 1 May 2026").check()
    own.get_by_label("from 1 January 2026").check()
    desk.get_by_label("Tess's reef").check()
    desk.get_by_role("button", name="Compare").click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text("more light")
    table = desk.get_by_role("region", name="The setups in figures")
    expect(table.get_by_role("row", name="Height above the water")).to_contain_text("40 cm")
    expect(table.get_by_role("row", name="Height above the water")).to_contain_text("18 cm")
    expect(desk.get_by_role("heading", name="Compare with care")).to_have_count(0)
    assert desk.locator("figure svg:visible").count() == 3
    assert len(re.findall(rb"/Type\s*/Page[^s]", desk.pdf(format="A4"))) == 1  # on one sheet


def test_take_a_shared_setup_onto_an_own_tank(
    desk: Page, sign_in_on: SignIn, things: Things
) -> None:
    sign_in_on(desk, "ivo@club.example")
    desk.goto(f"/tanks/{things.ivo_tank}/like-mine")
    desk.get_by_role("link", name="Try this light on mine").click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text(
        "Whether Brain would be in range is not known yet"
    )
    expect(desk.get_by_text("brighter than now")).to_be_visible()
    desk.get_by_label("Keep it as a plan named").fill("Like Tess")
    desk.get_by_role("button", name="Keep as a plan").click()
    expect(desk.locator(".message")).to_contain_text("Kept as a plan")


def test_find_a_lamp_on_a_phone(phone: Page, sign_in_on: SignIn, things: Things) -> None:
    sign_in_on(phone, "ivo@club.example")
    phone.goto(f"/tanks/{things.ivo_tank}/which-lamp")
    expect(phone.get_by_role("heading", level=1)).to_contain_text("can light every animal")
    phone.get_by_label("Watts at most").fill("10")
    phone.get_by_role("button", name="Look again").click()
    expect(phone.get_by_text("more than the 10 W allowed")).to_be_visible()
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.fixture
def second_club(tmp_path: Path) -> tuple[FastAPI, Database]:
    settings = Settings(data=tmp_path / "second", database_url=None)
    club = open_database(data=settings.data)
    schema.migrate(club)
    with club.write() as db:
        make_club(db, name="Second club", time_zone="Asia/Manila")
        add_member(
            db,
            name="Ada",
            email="ada@second.example",
            password_hash=secrets.hash_password(PASSWORD),
        )
    return create_app(settings, club=club), club


def test_a_tank_travels_to_a_second_club_and_is_the_same(
    desk: Page,
    browser: Browser,
    sign_in_on: SignIn,
    things: Things,
    club: Database,
    cast: Cast,
    second_club: tuple[FastAPI, Database],
    tmp_path: Path,
) -> None:
    sign_in_on(desk, "ivo@club.example")
    desk.goto("/travel")
    with desk.expect_download() as waiting:
        desk.get_by_role("link", name="Ivo's reef").click()
    saved = tmp_path / "ivos-reef.zip"
    waiting.value.save_as(saved)

    app, other = second_club
    with serving(app) as address:
        context = browser.new_context(base_url=address)
        page = context.new_page()
        sign_in_on(page, "ada@second.example")
        page.goto("/travel")
        page.get_by_label("The saved file").set_input_files(saved)
        page.get_by_role("button", name="Take it in").click()
        expect(page.get_by_role("status")).to_contain_text("Ivo's reef is here")
        found = re.search(r"/tanks/(\d+)$", page.url)
        assert found
        with other.read() as db:
            assert pack.pack(db, int(found[1])) == saved.read_bytes()
        context.close()
