"""The reef's page: shapes set down, rocks moved and taken out, panes wiped; the light follows."""

import re
from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day, tanks
from server.db.engine import Database
from server.models import Tank
from server.reef.furnishing import from_text
from tests.conftest import Cast
from tests.db.bundle.test_bundle import make_tank


@pytest.fixture
def tank_id(club: Database, cast: Cast) -> int:
    with club.write() as db:
        return make_tank(db, cast.ivo)


def _reef(club: Database, tank_id: int):  # type: ignore[no-untyped-def]  # a test's shorthand
    with club.read() as db:
        return from_text(db.get_one(Tank, tank_id).furnishing)


def _as_shown(page: str) -> dict[str, str]:
    """Every field of the form as the page shows it."""
    found = dict(re.findall(r'<input id="[^"]*" name="([^"]*)"[^>]*? value="([^"]*)"', page))
    for name, options in re.findall(
        r'<select id="[^"]*" name="([^"]*)".*?>(.*?)</select>', page, re.S
    ):
        chosen = re.search(r'value="([^"]*)" selected', options)
        found[name] = chosen[1] if chosen else ""
    return {name: value for name, value in found.items() if not name.startswith("gone")}


def test_an_arch_is_set_down_where_it_was_tapped(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    answer = ivo.post(
        f"/tanks/{tank_id}/reef", data={"add": "arch", "add_x": "40,5", "add_y": "21", "rim": "0"}
    )
    assert answer.status_code == 303, answer.text
    rocks = _reef(club, tank_id).rocks
    assert len(rocks) == 3 and {rock.group for rock in rocks} == {"g1"}
    left, right = min(r.left_cm for r in rocks), max(r.right_cm for r in rocks)
    assert (left + right) / 2 == pytest.approx(40.5, abs=0.1)
    page = ivo.get(f"/tanks/{tank_id}/reef").text
    assert "3 blocks of rock stand in the light" in page and page.count('class="rock"') >= 3


def test_setting_a_rock_down_is_a_change_of_light_in_the_history(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    with club.read() as db:
        today = club_day.today(db)
    since = today - timedelta(days=2)
    data = {"add": "block", "add_x": "30", "add_y": "20", "add_top": "22", "since": f"{since}"}
    ivo.post(f"/tanks/{tank_id}/reef", data=data | {"reason": "A stone from the old tank"})
    with club.read() as db:
        setup = tanks.current_setup(db, tank_id)
    assert setup is not None and setup.since == since
    assert "A stone from the old tank" in ivo.get(f"/tanks/{tank_id}/history").text
    (rock,) = _reef(club, tank_id).rocks
    assert (rock.top_cm, rock.bottom_cm) == (22, None)


def test_a_rock_is_changed_and_another_taken_out(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    address = f"/tanks/{tank_id}/reef"
    ivo.post(address, data={"add": "block", "add_x": "20", "add_y": "20", "add_top": "22"})
    ivo.post(address, data=_as_shown(ivo.get(address).text) | {"add": "shelf", "add_x": "60"})
    shown = _as_shown(ivo.get(address).text)
    assert shown["top1"] == "22" and "left2" in shown
    answer = ivo.post(address, data=shown | {"top1": "15.5", "gone2": "yes", "name1": "Perch"})
    assert answer.status_code == 303, answer.text
    (rock,) = _reef(club, tank_id).rocks
    assert (rock.top_cm, rock.name) == (15.5, "Perch")


def test_what_cannot_stand_is_refused_by_its_field_and_kept_as_typed(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    address = f"/tanks/{tank_id}/reef"
    ivo.post(address, data={"add": "block", "add_x": "20", "add_y": "20"})
    shown = _as_shown(ivo.get(address).text)
    answer = ivo.post(address, data=shown | {"right1": "3", "reason": "kept words"})
    assert answer.status_code == 422
    assert 'href="#right1"' in answer.text and "kept words" in answer.text
    assert "Rock 1" in answer.text
    too_far = ivo.post(address, data=shown | {"left1": "4000"})
    assert too_far.status_code == 422 and 'id="left1-wrong"' in too_far.text


def test_wiping_a_grown_pane_warns_and_is_told_in_the_history(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    address = f"/tanks/{tank_id}/reef"
    ivo.post(address, data={"pane_back": "0.2", "since": "2026-03-01"})
    assert _reef(club, tank_id).grown["back"].share == 0.2
    assert _reef(club, tank_id).grown["back"].since == date(2026, 3, 1)
    again = ivo.post(address, data={"pane_back": "0.2", "rim": "2"})
    assert again.status_code == 303
    assert _reef(club, tank_id).grown["back"].since == date(2026, 3, 1), "the same growth"
    answer = ivo.post(address, data={"pane_back": "1", "rim": "2"})
    assert "can%20pale" in answer.headers["set-cookie"] or "pale" in answer.headers["set-cookie"]
    assert "Wiped the back pane" in ivo.get(f"/tanks/{tank_id}/history").text


def test_strangers_neither_see_nor_build(tess: TestClient, club: Database, tank_id: int) -> None:
    assert tess.get(f"/tanks/{tank_id}/reef").status_code == 404
    answer = tess.post(f"/tanks/{tank_id}/reef", data={"add": "island"})
    assert answer.status_code == 404
    assert not _reef(club, tank_id).rocks
