"""The verdict on a tank, the difference chart, and what is saved of a lamp."""

import re
from datetime import date

import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import surveys, tanks
from server.db.engine import Database
from server.models import HungLamp, LampMeasurement, Reading, Tank
from server.surveys.estimate import MeasuredMap
from server.web.measured import charts
from tests.conftest import Cast
from tests.web.measured.measuring import (
    plan_of,
    real_light,
    scattered,
    store,
    twelve_places,
)
from tests.web.planner.conftest import Reef, make_reef


@pytest.fixture
def session(club: Database, reef: Reef) -> int:
    """Twelve readings under lamps that give 78 % of what they state."""
    plan = plan_of(club, reef.tank, reef.setup)
    points = twelve_places(plan)
    return store(club, reef.tank, reef.setup, points, scattered(real_light(plan, points)))


def heading(page: str) -> str:
    found = re.search(r"<h1>(.*?)</h1>", page, re.DOTALL)
    assert found is not None
    return found.group(1)


def test_without_readings_the_verdict_says_how_little_is_known(ivo: TestClient, reef: Reef) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/verdict")
    assert answer.status_code == 200
    assert "nobody has measured this light yet" in answer.text
    assert "not known" in answer.text
    assert 'fill="url(#above-wide-unsure)"' in answer.text
    assert f"/tanks/{reef.tank}/sessions/new" in answer.text


def test_with_readings_the_verdict_answers_first_then_what_to_do_then_how_sure(
    ivo: TestClient, reef: Reef, session: int
) -> None:
    page = ivo.get(f"/tanks/{reef.tank}/verdict").text
    assert re.search(r"^Of three animals .* in range", heading(page))
    order = [page.index(words) for words in (heading(page), "Known to about", "Who gets what")]
    assert order == sorted(order)
    assert "from 12 readings on 1 June 2026" in page
    assert 'fill="url(#above-wide-unknown)"' not in page
    assert "lower than planned by the same factor" in page
    assert "Left out one at a time" in page
    assert page.count("Reading 12") >= 1
    assert "immersion and calibration factor are both 1" in page


def test_the_page_is_light(ivo: TestClient, reef: Reef, session: int) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/verdict", headers={"Accept-Encoding": "identity"})
    assert len(answer.content) < 100_000


def test_a_misfit_is_named_and_can_be_set_aside_from_the_page(
    ivo: TestClient, reef: Reef, session: int, club: Database
) -> None:
    with club.write() as db:
        first = db.exec(select(Reading).where(Reading.session_id == session)).first()
        assert first is not None
        first.ppfd = first.raw_ppfd = 0.0
        db.add(first)
        wrong = first.id
    page = ivo.get(f"/tanks/{reef.tank}/verdict").text
    assert "Readings that do not fit" in page and "Set Reading 1 aside" in page
    then = f"/tanks/{reef.tank}/verdict"
    answer = ivo.post(
        f"/sessions/{session}/readings/{wrong}/strike",
        data={"reason": "does not fit its neighbours", "then": then},
        follow_redirects=True,
    )
    assert answer.url.path == then
    assert "Readings that do not fit" not in answer.text
    assert "from 11 readings" in answer.text
    with club.read() as db:
        assert db.get_one(Reading, wrong).struck_reason == "does not fit its neighbours"


def test_sensor_factors_are_applied_once_and_named(
    ivo: TestClient, reef: Reef, session: int, club: Database
) -> None:
    with club.write() as db:
        row = surveys.session_seen(db, session, ivo_id(db, reef))
        assert row is not None
        words = surveys.SessionWords(
            taken_on=date(2026, 6, 1), setup_id=reef.setup, immersion_factor=1.25
        )
        surveys.correct_session(db, row[0], words, None)
        raw = [one.raw_ppfd for one in surveys.readings_of(db, session)]
    page = ivo.get(f"/tanks/{reef.tank}/verdict").text
    assert "multiplied once by immersion factor 1.25 and calibration factor 1" in page
    assert f">{round(1.25 * raw[0])}<" in page


def ivo_id(db: object, reef: Reef) -> int:
    return db.get_one(Tank, reef.tank).owner_id  # type: ignore[attr-defined]  # a Session


def test_a_second_session_that_shows_less_light_is_told_as_a_change(
    ivo: TestClient, reef: Reef, session: int, club: Database
) -> None:
    plan = plan_of(club, reef.tank, reef.setup)
    points = twelve_places(plan)
    later = scattered(real_light(plan, points, output=0.6), seed=9)
    second = store(club, reef.tank, reef.setup, points, later, on=date(2026, 11, 1))
    page = ivo.get(f"/tanks/{reef.tank}/verdict").text
    assert "The light has changed since the earlier readings" in page
    assert "The readings of 1 June 2026 no longer hold" in page
    change = ivo.get(f"/tanks/{reef.tank}/difference?later={second}&earlier={session}")
    assert change.status_code == 200
    assert re.search(r"show \d+ % less light", heading(change.text))


def test_the_same_light_measured_twice_is_no_change(
    ivo: TestClient, reef: Reef, session: int, club: Database
) -> None:
    plan = plan_of(club, reef.tank, reef.setup)
    points = twelve_places(plan)
    again = scattered(real_light(plan, points), seed=8)
    store(club, reef.tank, reef.setup, points, again, on=date(2026, 7, 1))
    page = ivo.get(f"/tanks/{reef.tank}/verdict").text
    assert "agree with the earlier ones within their scatter" in page
    assert "from 24 readings on 1 June 2026 and 1 July 2026" in page


def test_measured_against_planned_is_drawn_with_signed_lines(
    ivo: TestClient, reef: Reef, session: int
) -> None:
    page = ivo.get(f"/tanks/{reef.tank}/difference").text
    assert "less light than planned" in heading(page)
    assert "−" in page and "change-wide" in page
    assert page.count("<tr>") == 10  # a head and nine places


def test_what_the_readings_say_of_a_lamp_goes_to_the_shelf_with_its_provenance(
    ivo: TestClient, reef: Reef, session: int, club: Database, cast: Cast
) -> None:
    with club.read() as db:
        hung = db.exec(select(HungLamp).where(HungLamp.setup_id == reef.setup)).first()
    assert hung is not None
    for _ in range(2):  # saving again replaces, it does not double
        answer = ivo.post(f"/tanks/{reef.tank}/verdict/lamps/{hung.id}/keep", follow_redirects=True)
        assert "Kept on the shelf" in answer.text and "Take it off" in answer.text
    with club.read() as db:
        (row,) = db.exec(select(LampMeasurement)).all()
    assert row.lamp_model_id == reef.model and row.member_id == cast.ivo.id
    assert (row.measured_on, row.readings) == (date(2026, 6, 1), 12)
    assert row.output_low < 0.78 < row.output_high + 0.05
    assert row.beam_deg is not None and row.typical_error_percent is not None
    answer = ivo.post(
        f"/tanks/{reef.tank}/verdict/lamps/{hung.id}/take-away", follow_redirects=True
    )
    assert "Save to the shelf" in answer.text


def test_nothing_is_saved_of_a_lamp_nobody_measured(
    ivo: TestClient, reef: Reef, club: Database
) -> None:
    with club.read() as db:
        hung = db.exec(select(HungLamp).where(HungLamp.setup_id == reef.setup)).first()
    assert hung is not None
    answer = ivo.post(f"/tanks/{reef.tank}/verdict/lamps/{hung.id}/keep", follow_redirects=True)
    assert "Measure this light first" in answer.text
    with club.read() as db:
        assert db.exec(select(LampMeasurement)).all() == []


@pytest.mark.parametrize("path", ["verdict", "difference"])
def test_another_members_private_tank_is_not_there(
    tess: TestClient, reef: Reef, session: int, path: str
) -> None:
    assert tess.get(f"/tanks/{reef.tank}/{path}").status_code == 404


def test_a_shared_tank_can_be_looked_at_but_not_saved_from(
    tess: TestClient, club: Database, cast: Cast
) -> None:
    shared = make_reef(club, cast.ivo.id or 0, shared=True)
    page = tess.get(f"/tanks/{shared.tank}/verdict")
    assert page.status_code == 200 and "Save to the shelf" not in page.text
    with club.read() as db:
        hung = db.exec(select(HungLamp).where(HungLamp.setup_id == shared.setup)).first()
    assert hung is not None
    answer = tess.post(f"/tanks/{shared.tank}/verdict/lamps/{hung.id}/keep")
    assert answer.status_code == 404


@pytest.mark.parametrize("path", ["verdict", "difference"])
@pytest.mark.parametrize("depth", ["abc", "NaN", "-3", "900", "1e999", "<b>"])
def test_a_depth_that_is_none_is_refused_in_place(
    ivo: TestClient, reef: Reef, session: int, path: str, depth: str
) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/{path}", params={"depth": depth})
    assert answer.status_code == 422
    assert "field-wrong" in answer.text and "<b>" not in answer.text


@pytest.mark.parametrize("query", ["setup=abc", "setup=999", "later=x", "earlier=12345"])
def test_setups_and_sessions_that_are_not_there_are_not_found(
    ivo: TestClient, reef: Reef, session: int, query: str
) -> None:
    assert ivo.get(f"/tanks/{reef.tank}/difference?{query}").status_code == 404


def test_a_tank_without_a_lamp_gets_a_page_that_teaches(
    ivo: TestClient, club: Database, cast: Cast
) -> None:
    words = tanks.TankWords(name="Bare", length_cm=60, width_cm=40, depth_cm=40)
    with club.write() as db:
        tank = tanks.add_tank(db, owner_id=cast.ivo.id or 0, words=words).id
    page = ivo.get(f"/tanks/{tank}/verdict")
    assert page.status_code == 200 and "Hang a lamp" in page.text
    assert "Nothing was measured" in ivo.get(f"/tanks/{tank}/difference").text


def test_readings_outside_a_tank_made_smaller_are_left_out(
    ivo: TestClient, reef: Reef, session: int, club: Database
) -> None:
    with club.write() as db:
        tank = db.get_one(Tank, reef.tank)
        tank.length_cm = 50
        db.add(tank)
    answer = ivo.get(f"/tanks/{reef.tank}/verdict")
    assert answer.status_code == 200
    plan = plan_of(club, reef.tank, reef.setup)
    inside = int(np.sum(twelve_places(plan)[:, 0] <= 50))
    assert inside and "Known to about" in answer.text


def test_a_verdict_seen_again_asks_the_engine_of_no_chart(
    ivo: TestClient, reef: Reef, session: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    places: list[int] = []
    answers = MeasuredMap.answers

    def counted(found: MeasuredMap, points: np.ndarray) -> object:
        places.append(len(points))
        return answers(found, points)

    monkeypatch.setattr(MeasuredMap, "answers", counted)
    charts.measured_views.cache_clear()  # another test may have looked at the same light
    first = ivo.get(f"/tanks/{reef.tank}/verdict").text
    assert max(places) > 200  # a chart's grid
    places.clear()
    assert heading(ivo.get(f"/tanks/{reef.tank}/verdict").text) == heading(first)
    assert max(places, default=0) < 50
    places.clear()
    assert ivo.get(f"/tanks/{reef.tank}/verdict?depth=13").status_code == 200
    assert max(places) > 200
