"""A tank's history in one list, and two of its moments side by side."""

from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from server.db import tanks
from server.db.engine import Database
from tests.web.day.conftest import LONG_AGO, TODAY, Reef, day_form


def _brighter(club: Database, reef: Reef) -> None:
    with club.write() as db:
        lamp = tanks.place_of(tanks.lamps_of(db, reef.setup)[0])
        tanks.save_setup(
            db,
            tank_id=reef.tank,
            lamps=[replace(lamp, power=0.45)],
            since=TODAY,
            reason="The staghorn browns",
        )


def test_the_history_holds_lamps_day_animals_and_says_how_long_unchanged(
    ivo: TestClient, dated: Reef
) -> None:
    answer = ivo.get(f"/tanks/{dated.tank}/history")
    assert answer.status_code == 200
    assert "unchanged for 10 months, since 10 January 2026." in answer.text
    for words in ("Lamps set", "Day set", "Plate coral came in", "first day"):
        assert words in answer.text


def test_an_empty_history_teaches(ivo: TestClient, club: Database, dated: Reef) -> None:
    with club.write() as db:
        empty = tanks.add_tank(
            db,
            owner_id=2,
            words=tanks.TankWords(name="New", length_cm=60, width_cm=40, depth_cm=40),
        )
    assert "It fills itself as you go" in ivo.get(f"/tanks/{empty.id}/history").text


def test_a_note_is_written_down(ivo: TestClient, dated: Reef) -> None:
    note = {"words": "New carbon <b>", "on": "2026-11-20"}
    assert ivo.post(f"/tanks/{dated.tank}/history", data=note).status_code == 303
    page = ivo.get(f"/tanks/{dated.tank}/history").text
    assert "New carbon &lt;b&gt;" in page and "20 November 2026" in page


@pytest.mark.parametrize(
    "note", [{"words": ""}, {"words": "x" * 1001}, {"words": "x", "on": "2030-01-01"}]
)
def test_a_note_that_cannot_be_is_refused_as_typed(
    ivo: TestClient, dated: Reef, note: dict[str, str]
) -> None:
    answer = ivo.post(f"/tanks/{dated.tank}/history", data=note)
    assert answer.status_code == 422 and note["words"] in answer.text


def test_two_moments_are_compared_animal_by_animal(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    _brighter(club, dated)
    address = f"/tanks/{dated.tank}/history?first={TODAY}&second=2026-06-01"
    answer = ivo.get(address)
    # power 45 % after 30 %: half as much again, and nothing else changed
    assert "gets 50 % more a day" in answer.text
    assert "at 30 %" in answer.text and "at 45 %" in answer.text
    assert "The staghorn browns" in answer.text


def test_moments_without_a_day_are_compared_by_their_brightest_light(
    ivo: TestClient, reef: Reef, club: Database
) -> None:
    _brighter(club, reef)
    answer = ivo.get(f"/tanks/{reef.tank}/history?first=2026-06-01&second={TODAY}")
    assert "50 % more at full light" in answer.text


@pytest.mark.parametrize(
    "query", ["?first=x&second=y", "?first=2026-01-01", "?first=9999-01-01&second=2026-01-01"]
)
def test_dates_that_are_none_show_the_history(ivo: TestClient, dated: Reef, query: str) -> None:
    answer = ivo.get(f"/tanks/{dated.tank}/history{query}")
    assert answer.status_code == 200 and "Everything that happened" in answer.text


def test_a_moment_before_the_first_lamp_is_empty(ivo: TestClient, dated: Reef) -> None:
    answer = ivo.get(f"/tanks/{dated.tank}/history?first=2020-01-01&second={TODAY}")
    assert "No lamp hung." in answer.text and "cannot be compared" in answer.text


def test_strangers_read_shared_history_only(tess: TestClient, ivo: TestClient, dated: Reef) -> None:
    assert tess.get(f"/tanks/{dated.tank}/history").status_code == 200
    note = {"words": "hello"}
    assert tess.post(f"/tanks/{dated.tank}/history", data=note).status_code == 404
    assert ivo.get(f"/tanks/{dated.private}/history").status_code == 404
    assert ivo.get(f"/tanks/{dated.private}/chores").status_code == 404


def test_a_new_day_stands_in_the_history_with_its_reason(ivo: TestClient, dated: Reef) -> None:
    form = day_form(reason="I come home later", off="21:00")
    ivo.post(f"/tanks/{dated.tank}/day/edit", data=form)
    page = ivo.get(f"/tanks/{dated.tank}/history").text
    assert "I come home later" in page and "The light was changed today." in page
    assert LONG_AGO.isoformat() in page
