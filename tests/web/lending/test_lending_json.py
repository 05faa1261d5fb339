"""The meters' JSON answers as the contract says."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day
from server.db.engine import Database
from server.models import Member, Meter
from tests.conftest import Cast

Headers = dict[str, str]


@pytest.fixture
def ivos(token_of: Callable[[Member], Headers], cast: Cast) -> Headers:
    return token_of(cast.ivo)


@pytest.fixture
def tesss(token_of: Callable[[Member], Headers], cast: Cast) -> Headers:
    return token_of(cast.tess)


@pytest.fixture
def soon(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db) + timedelta(days=3)


def days(first: date, length_days: int) -> dict[str, str]:
    last = first + timedelta(days=length_days - 1)
    return {"from": first.isoformat(), "to": last.isoformat()}


def test_meters_are_listed_with_id_name_and_status(
    client: TestClient, ivos: Headers, meter: Meter
) -> None:
    answer = client.get("/api/meters", headers=ivos)
    assert answer.status_code == 200
    assert answer.json() == [{"id": meter.id, "name": "Blue meter", "status": "ready"}]


def test_booking_gives_the_loan_and_puts_it_on_the_calendar(
    client: TestClient, ivos: Headers, meter: Meter, soon: date
) -> None:
    asked = days(soon, 4)
    booked = client.post(f"/api/meters/{meter.id}/loans", json=asked, headers=ivos)
    assert booked.status_code == 201
    loan = booked.json()
    assert loan["member"] == "Ivo" and loan["status"] == "booked"
    assert (loan["from"], loan["to"]) == (asked["from"], asked["to"])
    shown = client.get(f"/api/meters/{meter.id}/loans", params=asked, headers=ivos)
    assert shown.json() == [loan]


def test_a_taken_day_is_409_with_the_nearest_free_stretch(
    client: TestClient, ivos: Headers, tesss: Headers, meter: Meter, soon: date
) -> None:
    client.post(f"/api/meters/{meter.id}/loans", json=days(soon, 4), headers=ivos)
    wanted = days(soon + timedelta(days=3), 3)
    refused = client.post(f"/api/meters/{meter.id}/loans", json=wanted, headers=tesss)
    assert refused.status_code == 409
    assert refused.headers["content-type"] == "application/problem+json"
    nearest = refused.json()["nearest_free"]
    assert nearest == days(soon + timedelta(days=4), 3)
    again = client.post(f"/api/meters/{meter.id}/loans", json=nearest, headers=tesss)
    assert again.status_code == 201


def test_giving_back_frees_the_days_and_only_the_owner_may(
    client: TestClient, ivos: Headers, tesss: Headers, meter: Meter, soon: date
) -> None:
    address = f"/api/meters/{meter.id}/loans"
    loan = client.post(address, json=days(soon, 2), headers=ivos).json()
    assert client.delete(f"/api/loans/{loan['id']}", headers=tesss).status_code == 404
    assert client.delete(f"/api/loans/{loan['id']}", headers=ivos).status_code == 204
    assert client.get(address, headers=ivos).json() == []
    assert client.delete(f"/api/loans/{loan['id']}", headers=ivos).status_code == 409
    assert client.post(address, json=days(soon, 2), headers=tesss).status_code == 201


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"from": "2027-01-01"},
        {"from": "2027-01-01", "to": "2027-01-02", "note": "x"},
        {"from": "2027-01-05", "to": "2027-01-02"},
        {"from": "1999-01-01", "to": "1999-01-02"},
        {"from": "9999-12-30", "to": "9999-12-31"},
        {"from": "0001-01-01", "to": "9999-12-31"},
        {"from": 1700000000, "to": "2027-01-02"},
        {"from": "2027-02-30", "to": "2027-03-02"},
        {"from": "2027-01-01T00:00", "to": "2027-01-02"},
        {"from": None, "to": []},
        {"from": "NaN", "to": "Infinity"},
        ["2027-01-01"],
        "2027-01-01",
    ],
)
def test_what_cannot_be_booked_is_422_with_the_fields_named(
    client: TestClient, ivos: Headers, meter: Meter, body: object
) -> None:
    refused = client.post(f"/api/meters/{meter.id}/loans", json=body, headers=ivos)
    assert refused.status_code == 422
    assert refused.headers["content-type"] == "application/problem+json"
    assert refused.json()["errors"]
    assert all(one["message"] for one in refused.json()["errors"])


def test_rules_of_the_club_are_said_in_words(
    client: TestClient, ivos: Headers, meter: Meter, soon: date
) -> None:
    long = client.post(f"/api/meters/{meter.id}/loans", json=days(soon, 8), headers=ivos)
    assert long.status_code == 422
    assert long.json()["errors"] == [
        {"field": "to", "message": "A loan lasts at most 7 days, both ends counted."}
    ]


def test_unknown_meters_and_strangers_are_turned_away(
    client: TestClient, ivos: Headers, soon: date
) -> None:
    body = days(soon, 1)
    assert client.post("/api/meters/77/loans", json=body, headers=ivos).status_code == 404
    assert client.get("/api/meters/77/loans", headers=ivos).status_code == 404
    assert client.delete("/api/loans/77", headers=ivos).status_code == 404
    for number in ("99999999999999999999", "x", "-1"):
        answer = client.get(f"/api/meters/{number}/loans", headers=ivos)
        assert answer.status_code in (404, 422)
    assert client.get("/api/meters").status_code == 401
    assert client.post("/api/meters/1/loans", json=body).status_code == 401


def test_absurd_calendar_days_are_refused(client: TestClient, ivos: Headers, meter: Meter) -> None:
    address = f"/api/meters/{meter.id}/loans"
    for query in (
        {"from": "2027-01-02", "to": "2027-01-01"},
        {"from": "yesterday"},
        {"from": "0001-01-01", "to": "9999-12-31"},
    ):
        answer = client.get(address, params=query, headers=ivos)
        assert answer.status_code == 422 and answer.json()["errors"]
    assert client.get(address, params={"from": "9999-12-31"}, headers=ivos).status_code == 200
