"""Every page, card, feed and JSON of a tank says one thing: the account's.

The account as JSON is the reference; each page is read back as a member reads it
(`reading_pages`) and may claim nothing else. A new page about a tank's light joins `PAGES`.
Demo tanks always; tanks made at random too, a few hundred with UNDERLAMP_LONG=1.
"""

import csv
import io
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.account.proposing import GO_UP_SLOWLY, MESH_CAUTION, OVERHEAD_CAUTION
from server.db import members, tanks
from server.db.backup import open_current
from server.db.demo import club as demo
from server.db.engine import Database
from server.models import Member, Tank
from server.settings import Settings
from server.web.app import create_app
from tests.web.account.random_club import fill
from tests.web.account.reading_pages import HEADLINE, blocks, claims

PAGES = (
    "/tanks/{tank}",
    "/tanks/{tank}/plan",
    "/tanks/{tank}/verdict",
    "/tanks/{tank}/animals/new",
    "/setups/{setup}",
    "/tanks/{tank}/plan/drawn",
    "/tanks/{tank}/day",
    "/tanks/{tank}/dose",
)
"""Pages about one tank alone."""

ADVICE = ("/tanks/{tank}", "/tanks/{tank}/plan", "/tanks/{tank}/verdict")
"""Those that say what to do."""

DAY = ("/tanks/{tank}/day", "/tanks/{tank}/dose")
"""Those that say first what to do about the day, and else the account's next step."""

LEAVE_ALONE = ("Leave it alone: it can be judged", "Left alone long enough")

BESIDE = (GO_UP_SLOWLY, OVERHEAD_CAUTION, MESH_CAUTION)
"""Cautions of a proposal, which stand wherever its words do."""

MANY = 300 if os.environ.get("UNDERLAMP_LONG") == "1" else 4


@dataclass(frozen=True)
class Visit:
    """One tank, its keeper's browser, and its account as JSON."""

    browser: TestClient
    tank: int
    setup: int
    name: str
    account: dict[str, Any]

    def page(self, address: str) -> str:
        answer = self.browser.get(address.format(tank=self.tank, setup=self.setup))
        assert answer.status_code == 200, (self.name, address, answer.status_code)
        return answer.text

    @property
    def animals(self) -> list[str]:
        return [one["name"] for one in self.account["animals"]]


@pytest.fixture(scope="module")
def demo_club(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Settings, Database]]:
    settings = Settings(data=tmp_path_factory.mktemp("voice"), database_url=None)
    demo.open_or_fill(settings)
    club = open_current(settings)
    yield settings, club
    club.close()


@pytest.fixture(scope="module")
def demo_visits(demo_club: tuple[Settings, Database]) -> list[Visit]:
    return visits(*demo_club)


@pytest.fixture(scope="module")
def random_visits(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Visit]]:
    settings = Settings(data=tmp_path_factory.mktemp("random"), database_url=None)
    demo.open_or_fill(settings)
    club = open_current(settings)
    made = fill(club, count=MANY, seed=11)
    yield [visit for visit in visits(settings, club) if visit.tank in made]
    club.close()


def visits(settings: Settings, club: Database) -> list[Visit]:
    """Every tank that has a lamp, as its keeper sees it."""
    app = create_app(settings, club=club)
    found = []
    with club.read() as db:
        every = [(tank, db.get_one(Member, tank.owner_id)) for tank in _tanks(db)]
        setups = tanks.current_setups(db, [tank.id for tank, _ in every])
    keys: dict[int, tuple[TestClient, dict[str, str]]] = {}
    for tank, keeper in every:
        if tank.id not in setups:
            continue
        if keeper.id not in keys:
            keys[keeper.id] = _signed_in(app, club, keeper)
        browser, headers = keys[keeper.id]
        account = browser.get(f"/api/tanks/{tank.id}/account", headers=headers).json()
        found.append(Visit(browser, tank.id, setups[tank.id].id, tank.name, account))
    return found


def _tanks(db: Any) -> list[Tank]:
    return [one for one in db.exec(tanks.select(Tank)) if one.archived_at is None]


def _signed_in(app: Any, club: Database, keeper: Member) -> tuple[TestClient, dict[str, str]]:
    with club.write() as db:
        db.get_one(Member, keeper.id).length_unit = "cm"  # the JSON's, so that words compare
        token = members.sign_in(db, keeper, device="test")
        access = members.make_access_token(db, member_id=keeper.id, name="test")
    browser = TestClient(app)
    browser.cookies.set("underlamp_sign_in", token)
    return browser, {"Authorization": f"Bearer {access}"}


def test_the_demo_has_tanks_of_every_basis_to_walk(demo_visits: list[Visit]) -> None:
    assert len(demo_visits) >= 10
    assert {"planned", "measured"} <= {visit.account["basis"] for visit in demo_visits}


def test_every_page_of_every_demo_tank_speaks_with_one_voice(demo_visits: list[Visit]) -> None:
    for visit in demo_visits:
        speaks_with_one_voice(visit)


def test_every_page_of_tanks_made_at_random_speaks_with_one_voice(
    random_visits: list[Visit],
) -> None:
    assert len(random_visits) == MANY
    assert {visit.account["basis"] for visit in random_visits} == {"planned", "measured", "carried"}
    for visit in random_visits:
        speaks_with_one_voice(visit)


def speaks_with_one_voice(visit: Visit) -> None:
    """No page of the tank claims anything else than its account."""
    for address in PAGES:
        agrees(visit, address, visit.page(address))
    proposes_one_thing(visit)
    types_one_number(visit)
    agrees(visit, "/", _line_of(visit, visit.page("/")))
    agrees(visit, "/tanks", _line_of(visit, visit.page("/tanks")))


def agrees(visit: Visit, address: str, html: str) -> None:
    account, where = visit.account, (visit.name, address)
    headline = _headline(visit)
    said = claims(html, visit.animals, headline)
    for one in account["animals"]:
        wanted = {one["verdict"].replace("_", " ")}
        assert said.verdicts[one["name"]] <= wanted, (*where, one["name"])
    assert said.certainties <= {account["known_to_percent"]}, where
    right = sum(one["verdict"] == "in_range" for one in account["animals"])
    assert said.counts <= {(right, len(account["animals"]))}, where
    assert said.headlines <= {headline}, where
    assert not said.a_third, where
    assert not said.nobody_measured or account["basis"] == "planned", where
    if account["proposal"] is None:
        allowed = [account["why_none"], account["next_step"]]
    else:
        allowed = [account["proposal"]["words"], account["next_step"]]
    for order in said.orders:
        assert any(order.lower() in words.lower() for words in allowed), (*where, order)


def types_one_number(visit: Visit) -> None:
    """The table of set-points names the account's numbers, line by line."""
    answer = visit.browser.get(f"/tanks/{visit.tank}/day/set-points.csv")
    if answer.status_code != 200:  # a tank without a day has no table
        assert all(not line["time"] for line in visit.account["set_now"]), visit.name
        return
    lines = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    printed = {(line["local_time"], _number(line["type_percent"])) for line in lines}
    wanted = {(line["time"], line["type_percent"]) for line in visit.account["set_now"]}
    assert printed == wanted, visit.name


def _number(text: str) -> float | None:
    return float(text) if text.replace(".", "").isdigit() else None


def proposes_one_thing(visit: Visit) -> None:
    """Pages that advise show the account's one proposal."""
    proposal = visit.account["proposal"]
    words = proposal["words"] if proposal else visit.account["why_none"]
    beside = set()
    for address in ADVICE:
        text = " ".join(blocks(visit.page(address)))
        if address == ADVICE[0] and words not in text:
            continue  # the overview tells the next step, which may be to measure first
        assert words in text, (visit.name, address)
        beside.add(tuple(text.count(caution) for caution in BESIDE))
    for address in DAY:
        text = " ".join(blocks(visit.page(address)))
        if proposal or visit.account["basis"] == "planned":
            assert not any(one in text for one in LEAVE_ALONE), (visit.name, address)
        if proposal and words in text:
            beside.add(tuple(text.count(caution) for caution in BESIDE))
    assert len(beside) == 1, (visit.name, "cautions differ beside one proposal", beside)


def _headline(visit: Visit) -> str:
    """The headline as the tank's own page has it; every other page must say the same."""
    found = HEADLINE.findall("\n".join(blocks(visit.page("/tanks/{tank}"))))
    return str(found[0]).strip() if found else ""


def _line_of(visit: Visit, html: str) -> str:
    """The list item of this tank on a page of many."""
    items = [part for part in html.split("<li>") if f'href="/tanks/{visit.tank}"' in part]
    return "<li>".join(items)
