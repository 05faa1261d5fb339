"""Chores with intervals of the keeper's own travel with the tank, and do not hold anybody back."""

import io
import re
import zipfile

from fastapi.testclient import TestClient

from server.db import chores
from server.db.engine import Database
from server.dose.chores import BY_KEY
from server.models import Tank
from tests.conftest import PASSWORD
from tests.web.day.conftest import Reef


def _save_as_offered(ivo: TestClient, tank: int) -> None:
    page = ivo.get(f"/tanks/{tank}/chores").text
    offered = dict(re.findall(r'name="(every-[a-z]+)"[^>]* value="([^"]*)"', page))
    assert set(offered) == {f"every-{key}" for key in BY_KEY}
    assert ivo.post(f"/tanks/{tank}/chores/every", data=offered).status_code == 303


def test_a_tank_with_its_own_intervals_goes_out_and_comes_back(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    _save_as_offered(ivo, dated.tank)
    packed = ivo.get(f"/tanks/{dated.tank}/bundle.zip")
    assert packed.status_code == 200
    with zipfile.ZipFile(io.BytesIO(packed.content)) as bundle:
        rows = bundle.read("choreevery.csv").decode().splitlines()
    assert len(rows) == 1 + len(BY_KEY)
    sent = {"bundle": ("tank.zip", packed.content, "application/zip")}
    taken = ivo.post("/travel/take-in", files=sent)
    assert taken.status_code == 303, taken.text
    again = int(taken.headers["location"].split("/")[2].partition("?")[0])
    with club.read() as db:
        assert chores.every_of(db, again) == {key: one.days for key, one in BY_KEY.items()}


def test_everything_of_a_member_holds_the_chores(ivo: TestClient, dated: Reef) -> None:
    _save_as_offered(ivo, dated.tank)
    answer = ivo.get("/travel/everything.zip")
    assert answer.status_code == 200
    with zipfile.ZipFile(io.BytesIO(answer.content)) as bundle:
        tanks = [name for name in bundle.namelist() if name.startswith("tanks/")]
        with zipfile.ZipFile(io.BytesIO(bundle.read(tanks[0]))) as tank:
            assert b"burner" in tank.read("choreevery.csv")


def test_a_member_with_chores_may_leave(ivo: TestClient, dated: Reef, club: Database) -> None:
    with club.write() as db:  # a private tank goes with its keeper, row by row
        tank = db.get_one(Tank, dated.tank)
        tank.shared = False
        db.add(tank)
    _save_as_offered(ivo, dated.tank)
    answer = ivo.post("/account/leave", data={"password_now": PASSWORD})
    assert answer.status_code == 303, answer.text
    assert ivo.get("/account").status_code == 303
