"""Chores come round per tank, per member and for the club."""

from datetime import timedelta

import icalendar
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db.engine import Database
from server.models import ChoreDone, Member
from tests.conftest import Cast
from tests.web.day.conftest import TODAY, Reef


def test_chores_that_fit_the_lamp_are_due_after_ten_months(ivo: TestClient, dated: Reef) -> None:
    page = ivo.get(f"/tanks/{dated.tank}/chores").text
    assert "Wipe the lens" in page and "Measure again" in page
    assert "<strong>Change the tubes" not in page  # a panel of LEDs has none
    assert "common practice, no published source" in page


def test_a_chore_done_comes_round_again_later(ivo: TestClient, dated: Reef, club: Database) -> None:
    answer = ivo.post(f"/tanks/{dated.tank}/chores", data={"chore": "lens"})
    assert answer.status_code == 303
    with club.read() as db:
        (row,) = db.exec(select(ChoreDone)).all()
    assert (row.chore, row.done_on) == ("lens", TODAY)
    page = ivo.get(f"/tanks/{dated.tank}/chores").text
    assert "in 4 weeks, on 25 December 2026, last on 25 November 2026" in page
    assert "Wipe the lens" in ivo.get(f"/tanks/{dated.tank}/history").text


def test_a_keeper_sets_how_often_and_zero_is_never(ivo: TestClient, dated: Reef) -> None:
    typed = {"every-lens": "400", "every-carbon": "0"}
    assert ivo.post(f"/tanks/{dated.tank}/chores/every", data=typed).status_code == 303
    page = ivo.get(f"/tanks/{dated.tank}/chores").text
    assert "every 13 months" in page
    assert "<strong>Change the carbon" not in page


@pytest.mark.parametrize("days", ["-1", "nan", "1e9", "weekly"])
def test_intervals_that_cannot_be_are_refused(ivo: TestClient, dated: Reef, days: str) -> None:
    answer = ivo.post(f"/tanks/{dated.tank}/chores/every", data={"every-lens": days})
    assert answer.status_code == 422
    assert 'id="every-lens-wrong"' in answer.text and f'value="{days}"' in answer.text


@pytest.mark.parametrize(
    "sent", [{}, {"chore": "dance"}, {"chore": "lens", "done_on": "2031-01-01"}]
)
def test_chores_that_are_none_are_refused(
    ivo: TestClient, dated: Reef, club: Database, sent: dict[str, str]
) -> None:
    assert ivo.post(f"/tanks/{dated.tank}/chores", data=sent).status_code == 422
    with club.read() as db:
        assert db.exec(select(ChoreDone)).all() == []


def test_a_members_list_and_the_clubs_list(ivo: TestClient, tess: TestClient, dated: Reef) -> None:
    mine = ivo.get("/chores").text
    assert "Window reef" in mine and "are due" in mine
    assert "Nothing is due in the next four weeks." in tess.get("/chores").text
    club = tess.get("/chores?of=club").text
    assert "Window reef" in club and "Ivo" in club and "Private cube" not in club
    assert "Done today" not in club


def test_done_from_the_list_comes_back_to_the_list(ivo: TestClient, dated: Reef) -> None:
    sent = {"chore": "lens", "back": "/chores"}
    answer = ivo.post(f"/tanks/{dated.tank}/chores", data=sent)
    assert answer.headers["location"] == "/chores"
    sent["back"] = "//evil.example"
    answer = ivo.post(f"/tanks/{dated.tank}/chores", data=sent)
    assert answer.headers["location"] == f"/tanks/{dated.tank}/chores"


def test_only_the_keeper_does_the_chores(tess: TestClient, dated: Reef) -> None:
    assert tess.get(f"/tanks/{dated.tank}/chores").status_code == 200
    assert tess.post(f"/tanks/{dated.tank}/chores", data={"chore": "lens"}).status_code == 404
    every = {"every-lens": "3"}
    assert tess.post(f"/tanks/{dated.tank}/chores/every", data=every).status_code == 404


def test_chores_and_clock_changes_stand_in_the_feed(
    client: TestClient, club: Database, cast: Cast, dated: Reef
) -> None:
    with club.read() as db:
        secret = db.exec(select(Member.feed_secret).where(Member.id == cast.ivo.id)).one()
    first = client.get(f"/feeds/member/{secret}.ics")
    events = icalendar.Calendar.from_ical(first.content).walk("VEVENT")
    words = [str(event["summary"]) for event in events]
    assert "Window reef: wipe the lens" in words
    clocks = [event for event in events if event["uid"].startswith("clock-")]
    # Directive 2000/84/EC: last Sundays of March and October
    assert [event["dtstart"].dt.isoformat() for event in clocks] == ["2027-03-28", "2027-10-31"]
    again = client.get(f"/feeds/member/{secret}.ics")
    assert again.content == first.content
    assert clocks[0]["dtend"].dt - clocks[0]["dtstart"].dt == timedelta(days=1)
