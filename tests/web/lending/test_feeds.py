"""Feeds parse, keep their ids when a loan moves, and import again without duplicates."""

from datetime import date, timedelta

import icalendar
import pytest
from fastapi.testclient import TestClient

from server.db import club_day
from server.db.engine import Database
from server.models import Meter


class OwnCalendar:
    """A member's calendar program: it knows entries by UID and takes the newer one."""

    def __init__(self) -> None:
        self.entries: dict[str, icalendar.Event] = {}

    def take(self, feed: bytes) -> None:
        parsed = icalendar.Calendar.from_ical(feed)
        for event in parsed.walk("VEVENT"):
            uid = str(event["uid"])
            known = self.entries.get(uid)
            if known is None or int(event["sequence"]) > int(known["sequence"]):
                self.entries[uid] = event

    def confirmed(self) -> list[icalendar.Event]:
        return [one for one in self.entries.values() if one["status"] != "CANCELLED"]


@pytest.fixture
def today(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db)


@pytest.fixture
def first(today: date) -> date:
    return today + timedelta(days=4)


def book(browser: TestClient, meter: Meter, first: date, days: int) -> str:
    last = first + timedelta(days=days - 1)
    answer = browser.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{last}"})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def feed_of(browser: TestClient) -> str:
    shown = browser.get("/meters/feeds").text
    start = shown.index("/feeds/member/")
    return shown[start : shown.index(".ics", start) + 4]


def test_a_moved_loan_comes_again_under_the_same_id_and_not_twice(
    client: TestClient, ivo: TestClient, mara: TestClient, meter: Meter, first: date
) -> None:
    mine = OwnCalendar()
    loan = book(ivo, meter, first, 3)
    mine.take(client.get(feed_of(ivo)).content)
    to = {
        "from": f"{first + timedelta(days=10)}",
        "to": f"{first + timedelta(days=12)}",
        "reason": "The club shows tanks.",
    }
    assert mara.post(f"{loan}/move", data=to).status_code == 303
    for _ in range(2):
        mine.take(client.get(feed_of(ivo)).content)
    [event] = mine.entries.values()
    assert event.decoded("dtstart") == first + timedelta(days=10)
    assert event.decoded("dtend") == first + timedelta(days=13), "the end is the day after"
    assert event["sequence"] == 1
    assert event["dtstart"].params["VALUE"] == "DATE"


def test_days_given_back_stay_in_the_feed_as_cancelled(
    client: TestClient, ivo: TestClient, meter: Meter, first: date
) -> None:
    mine = OwnCalendar()
    loan = book(ivo, meter, first, 1)
    mine.take(client.get(feed_of(ivo)).content)
    assert len(mine.confirmed()) == 1
    ivo.post(f"{loan}/give-back", data={"days": f"{first}/{first}"})
    mine.take(client.get(feed_of(ivo)).content)
    assert len(mine.entries) == 1 and mine.confirmed() == []


def test_a_meters_feed_says_who_and_a_members_feed_says_which_meter(
    client: TestClient, ivo: TestClient, tess: TestClient, meter: Meter, first: date
) -> None:
    book(ivo, meter, first, 1)
    book(tess, meter, first + timedelta(days=1), 1)
    everybodys = OwnCalendar()
    answer = client.get(f"/feeds/meter/{meter.feed_secret}.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    everybodys.take(answer.content)
    names = sorted(str(one["summary"]) for one in everybodys.entries.values())
    assert names == ["Blue meter: Ivo", "Blue meter: Tess"]
    own = client.get(feed_of(ivo)).text
    assert "SUMMARY:Blue meter\r\n" in own and "Tess" not in own


def test_an_unchanged_feed_is_304_and_lines_are_folded_with_crlf(
    client: TestClient, ivo: TestClient, meter: Meter, first: date
) -> None:
    book(ivo, meter, first, 2)
    address = feed_of(ivo)
    answer = client.get(address)
    again = client.get(address, headers={"If-None-Match": answer.headers["etag"]})
    assert again.status_code == 304 and again.content == b""
    book(ivo, meter, first + timedelta(days=9), 2)
    changed = client.get(address, headers={"If-None-Match": answer.headers["etag"]})
    assert changed.status_code == 200
    lines = changed.content.split(b"\r\n")
    assert lines[-1] == b"" and all(len(line) <= 75 and b"\n" not in line for line in lines)
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT6H" in lines


def test_a_renewed_address_leaves_the_old_one_dead(
    client: TestClient, ivo: TestClient, mara: TestClient, meter: Meter
) -> None:
    old = feed_of(ivo)
    assert client.get(old).status_code == 200
    ivo.post("/meters/feeds/renew")
    assert client.get(old).status_code == 404
    assert client.get(feed_of(ivo)).status_code == 200
    of_meter = f"/feeds/meter/{meter.feed_secret}.ics"
    assert client.get(of_meter).status_code == 200
    mara.post(f"/steward/meters/{meter.id}/feed")
    assert client.get(of_meter).status_code == 404
    assert client.get("/feeds/member/x.ics").status_code == 404
