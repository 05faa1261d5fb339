"""Entry by the tank over HTTP: the plain form, the phone's queue, and many writers at once."""

import json
import threading
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import httpx
import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from server.db.engine import Database
from server.models import Animal, Member, PlannedPoint, Reading
from tests.conftest import Cast
from tests.web.surveys.conftest import Scene


def readings(club: Database) -> list[Reading]:
    with club.read() as db:
        return list(db.exec(select(Reading).order_by(col(Reading.id))))


def points(club: Database) -> list[PlannedPoint]:
    with club.read() as db:
        return list(db.exec(select(PlannedPoint).order_by(col(PlannedPoint.position))))


def place(point: PlannedPoint) -> tuple[float, float, float]:
    return point.x_cm, point.y_cm, point.depth_cm


def entry(value: str, **more: Any) -> dict[str, Any]:
    return {"client_id": str(uuid4()), "at": [10, 20, 15], "value": value} | more


def form(value: str, point: int, **more: str) -> dict[str, str]:
    return {"value": value, "point_id": str(point), "client_id": str(uuid4()), "do": "next"} | more


def test_a_session_by_the_tank_has_a_plan_with_every_animal(session: int, club: Database) -> None:
    planned = points(club)
    assert len(planned) == 12
    assert {"Plate coral", "Staghorn"} <= {one.name for one in planned}
    assert all(one.expected_ppfd and one.expected_ppfd > 0 for one in planned)
    depths = [one.depth_cm for one in planned]
    assert depths == sorted(depths)


def test_the_plain_form_goes_from_point_to_point(
    ivo: TestClient, session: int, club: Database
) -> None:
    address = f"/sessions/{session}/enter"
    for number in range(1, 13):
        page = ivo.get(address).text
        assert f"Point {number} of 12" in page
        point = points(club)[number - 1]
        answer = ivo.post(
            address, data=form(f"{point.expected_ppfd:.1f}".replace(".", ","), point.id or 0)
        )
        assert answer.status_code == 303
        assert "ask" not in answer.headers["location"]
    assert "All points are read" in ivo.get(address).text
    stored = readings(club)
    assert [one.point_id for one in stored] == [one.id for one in points(club)]
    assert "," in stored[0].typed_light and stored[0].raw_ppfd > 0


def test_again_stays_skip_goes_on_and_shaded_is_kept(
    ivo: TestClient, session: int, club: Database
) -> None:
    address = f"/sessions/{session}/enter"
    first, second = points(club)[:2]
    usual = f"{first.expected_ppfd:.0f}"
    answer = ivo.post(address, data=form(usual, first.id or 0, do="again", shaded="yes"))
    assert f"point={first.id}" in answer.headers["location"]
    ivo.post(address, data=form(usual, first.id or 0))
    answer = ivo.post(address, data=form("", second.id or 0, do="skip"))
    assert f"point={points(club)[2].id}" in answer.headers["location"]
    assert [one.shaded for one in readings(club)] == [True, False]
    assert "skipped" in ivo.get(address).text


def test_the_same_form_sent_twice_stores_once(
    ivo: TestClient, session: int, club: Database
) -> None:
    data = form("120", points(club)[0].id or 0)
    for _ in range(2):
        assert ivo.post(f"/sessions/{session}/enter", data=data).status_code == 303
    assert len(readings(club)) == 1


def test_a_value_ten_times_the_expected_is_kept_and_asked_about(
    ivo: TestClient, session: int, club: Database
) -> None:
    point = points(club)[0]
    address = f"/sessions/{session}/enter"
    answer = ivo.post(address, data=form(f"{10 * (point.expected_ppfd or 0):.0f}", point.id or 0))
    assert len(readings(club)) == 1
    page = ivo.get(answer.headers["location"]).text
    assert "Did a digit slip?" in page and "10 times what" in page
    wrong = readings(club)[0]
    ivo.post(
        address,
        data=form("45", point.id or 0, instead_of=wrong.client_id or ""),
    )
    first, second = readings(club)
    assert first.struck_reason == "corrected on the spot" and second.struck_reason is None


def test_a_place_of_ones_own_can_be_read(ivo: TestClient, session: int, club: Database) -> None:
    address = f"/sessions/{session}/enter"
    page = ivo.get(address + "?x=33,5&y=20&depth=10").text
    assert "A place of your own" in page and "33.5 from left" in page
    data = {"x": "33,5", "y": "20", "depth": "10", "value": "99", "client_id": str(uuid4())}
    assert ivo.post(address, data=data | {"do": "next"}).status_code == 303
    assert (readings(club)[0].x_cm, readings(club)[0].point_id) == (33.5, None)


@pytest.mark.parametrize("value", ["", "abc", "nan", "inf", "-3", "1e9", "1,2,3", "<b>"])
def test_a_value_that_is_none_comes_back_as_typed(
    ivo: TestClient, session: int, club: Database, value: str
) -> None:
    answer = ivo.post(f"/sessions/{session}/enter", data=form(value, points(club)[0].id or 0))
    assert answer.status_code == 422
    assert 'class="wrong"' in answer.text
    assert readings(club) == []


@pytest.mark.parametrize("place", ["x=121&y=1&depth=1", "x=&y=&depth=", "x=nan&y=1&depth=1"])
def test_a_place_outside_the_tank_is_said_in_place(
    ivo: TestClient, session: int, place: str
) -> None:
    answer = ivo.get(f"/sessions/{session}/enter?{place}")
    assert answer.status_code == 422 and "field-wrong" in answer.text


def test_the_phones_list_is_stored_exactly_once_however_often_it_is_sent(
    ivo: TestClient, session: int, club: Database
) -> None:
    sent = {"entries": [entry("100"), entry("110,5", shaded=True), entry("90")]}
    first = ivo.post(f"/sessions/{session}/entries", json=sent).json()
    second = ivo.post(f"/sessions/{session}/entries", json=sent).json()
    assert first["stored"] == second["stored"] == [one["client_id"] for one in sent["entries"]]
    assert [one.raw_ppfd for one in readings(club)] == [100, 110.5, 90]
    assert [one.shaded for one in readings(club)] == [False, True, False]


def test_one_bad_entry_holds_up_no_other(ivo: TestClient, session: int, club: Database) -> None:
    bad = [
        entry("abc"), entry("100", at=[999, 1, 1]), entry("100", at="here"), entry("-1"),
        entry("100", at=[float("nan"), 1, 1]), entry("100", at=[10**400, 1, 1]),
        entry("5", client_id="x"), entry("5", client_id=7), "text", None, {},
    ]  # fmt: skip
    body = json.dumps({"entries": [*bad, entry("77")]})
    answer = ivo.post(
        f"/sessions/{session}/entries", content=body, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 200
    assert len(answer.json()["refused"]) == len(bad)
    assert [one.raw_ppfd for one in readings(club)] == [77]


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"entries": 5}', b"[" * 100_000])
def test_a_broken_list_is_refused(ivo: TestClient, session: int, body: bytes) -> None:
    answer = ivo.post(f"/sessions/{session}/entries", content=body)
    assert answer.status_code == 422


def test_without_a_sign_in_the_list_is_answered_401_and_nothing_is_stored(
    client: TestClient, session: int, club: Database
) -> None:
    answer = client.post(f"/sessions/{session}/entries", json={"entries": [entry("1")]})
    assert answer.status_code == 401
    assert readings(club) == []


def test_a_point_of_another_session_is_not_taken(
    ivo: TestClient, session: int, scene: Scene, club: Database
) -> None:
    ivo.post(f"/tanks/{scene.tank}/sessions/new", data={"way": "entry"})
    other = points(club)[-1]
    assert other.session_id != session
    ivo.post(f"/sessions/{session}/entries", json={"entries": [entry("5", point_id=other.id)]})
    assert readings(club)[0].point_id is None


def test_the_worker_may_only_mind_sessions(client: TestClient) -> None:
    answer = client.get("/sessions/worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"


def test_the_rest_of_the_plan_follows_what_was_read(
    ivo: TestClient, session: int, club: Database
) -> None:
    before = points(club)
    light = next(one.expected_ppfd for one in before if one.name == "Staghorn") or 0
    with club.write() as db:  # at 0.7 of the planned light this one stands right on its limit
        coral = db.exec(select(Animal).where(Animal.name == "Staghorn")).one()
        coral.low_ppfd, coral.high_ppfd = 0.7 * light, 2 * light
        db.add(coral)
    for one in before[:2]:
        value = f"{0.7 * (one.expected_ppfd or 0):.0f}"
        ivo.post(f"/sessions/{session}/enter", data=form(value, one.id or 0))
    answer = ivo.post(f"/sessions/{session}/plan")
    assert answer.status_code == 303
    assert "chosen%20anew" in answer.headers["set-cookie"], answer.headers["set-cookie"]
    after = points(club)
    assert [one.id for one in after[:2]] == [one.id for one in before[:2]]
    fresh = after[2:]
    assert 1 <= len(fresh) <= 6
    assert not {place(one) for one in fresh} & {place(one) for one in before[2:] if not one.name}
    for one in fresh:  # the values expected now know that the lamp gives less than planned
        assert one.expected_ppfd and one.expected_ppfd > 0


def test_an_old_copy_of_the_plan_names_no_point_of_the_new_one(
    ivo: TestClient, session: int, club: Database
) -> None:
    """Numbers of points may be given again; what a phone read is the place it sends."""
    old = points(club)
    ivo.post(f"/sessions/{session}/plan")
    new = {one.id: place(one) for one in points(club)}
    sent = [entry("50", point_id=one.id, at=list(place(one))) for one in old]
    ivo.post(f"/sessions/{session}/entries", json={"entries": sent})
    stored = readings(club)
    assert len(stored) == len(old)
    for one in stored:
        if one.point_id is not None:
            assert new[one.point_id] == pytest.approx((one.x_cm, one.y_cm, one.depth_cm), abs=0.1)


def test_a_tank_without_a_lamp_has_no_best_point(
    tess: TestClient, scene: Scene, club: Database
) -> None:
    answer = tess.post(f"/tanks/{scene.tess_tank}/sessions/new", data={"way": "entry"})
    address = answer.headers["location"]
    assert "Expect about" not in tess.get(address).text
    again = tess.post(address.replace("/enter", "/plan"))
    assert again.status_code == 303
    assert len(points(club)) == 12


def test_the_sheet_lists_every_point(ivo: TestClient, session: int) -> None:
    page = ivo.get(f"/sessions/{session}/sheet").text
    assert page.count('class="write"') == 36
    assert "Staghorn" in page


def test_two_phones_and_an_upload_writing_at_once_lose_nothing(
    live: str,
    ivo: TestClient,
    session: int,
    scene: Scene,
    club: Database,
    token_of: Callable[[Member], dict[str, str]],
    cast: Cast,
) -> None:
    """Two phones send 40 values each to one session, every list twice; meanwhile a script
    uploads to the same tank, and the plain form adds ten more."""
    cookies = dict(ivo.cookies)
    token = token_of(cast.ivo)
    lists = [[entry(str(100 + n)) for n in range(40)] for _ in range(2)]
    failures: list[str] = []

    def phone(entries: list[dict[str, Any]]) -> None:
        with httpx.Client(
            base_url=live, cookies=cookies, headers={"Origin": live}, timeout=30
        ) as browser:
            for start in range(0, 40, 4):
                for _ in range(2):
                    answer = browser.post(
                        f"/sessions/{session}/entries", json={"entries": entries[start : start + 4]}
                    )
                    if answer.status_code != 200:
                        failures.append(answer.text)

    def script() -> None:
        with httpx.Client(base_url=live, headers=token, timeout=30) as sender:
            for n in range(5):
                text = "x,y,depth,ppfd\n" + "".join(f"{i},1,1,{n + 1}\n" for i in range(100))
                answer = sender.post(
                    f"/api/tanks/{scene.tank}/measurement-sessions", files={"file": ("a.csv", text)}
                )
                if answer.status_code != 201:
                    failures.append(answer.text)

    def plain() -> None:
        with httpx.Client(
            base_url=live, cookies=cookies, headers={"Origin": live}, timeout=30
        ) as browser:
            for n in range(10):
                data = {
                    "x": "1",
                    "y": "1",
                    "depth": "1",
                    "value": str(n),
                    "client_id": str(uuid4()),
                }
                answer = browser.post(f"/sessions/{session}/enter", data=data)
                if answer.status_code != 303:
                    failures.append(answer.text)

    threads = [threading.Thread(target=phone, args=(one,)) for one in lists]
    threads += [threading.Thread(target=script), threading.Thread(target=plain)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert failures == []
    stored = readings(club)
    here = [one for one in stored if one.session_id == session]
    assert len(here) == 90 and len({one.client_id for one in here}) == 90
    assert len(stored) == 90 + 500
