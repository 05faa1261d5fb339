"""GET /api/tanks/{id}/account: what it says, for whom, and of what it rests on."""

from collections.abc import Callable
from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.db import members, tanks
from server.db.engine import Database
from server.models import LampModel, Member, Tank
from tests.conftest import Cast
from tests.web.measured.measuring import plan_of, real_light, scattered, store, twelve_places

Token = Callable[[Member], dict[str, str]]
FIELDS = {
    "as_of", "basis", "readings_on", "light_since", "known_to_percent", "animals", "proposal",
    "why_none", "set_now", "next_step",
}  # fmt: skip
ANIMAL = {
    "name", "ppfd", "low", "high", "wants", "verdict", "chance_in_range", "dli_mol_m2_d",
}  # fmt: skip


@pytest.fixture
def tank_id(club: Database, cast: Cast) -> int:
    with club.write() as db:
        model = LampModel(
            name="Flatlight", kind="led_panel", beam_deg=110, watts=90, ppf_umol_s=180,
            side_cm=20, created_at=members.now(),
        )  # fmt: skip
        db.add(model)
        db.flush()
        words = tanks.TankWords(name="Lagoon", length_cm=90, width_cm=45, depth_cm=45)
        tank = tanks.add_tank(db, owner_id=cast.ivo.id, words=words)
        place = tanks.LampPlace(lamp_model_id=model.id, x_cm=45, y_cm=22, height_cm=25)
        tanks.save_setup(db, tank_id=tank.id, lamps=[place], since=date(2026, 5, 1), reason="first")
        for name, low, high in (("Grove", 200, 350), ("Dome", 50, 120)):
            words_ = tanks.AnimalWords(
                name=name, group="other", x_cm=45, y_cm=22, depth_cm=20, low_ppfd=low,
                high_ppfd=high, range_source="", placed_on=date(2026, 5, 1),
            )  # fmt: skip
            tanks.add_animal(db, tank.id, words_)
        return tank.id


def step_down(club: Database, tank_id: int, power: float) -> None:
    with club.write() as db:
        current = tanks.current_setup(db, tank_id)
        assert current is not None
        (lamp,) = tanks.lamps_of(db, current.id)
        place = tanks.LampPlace(**vars(tanks.place_of(lamp)) | {"power": power})
        tanks.save_setup(
            db, tank_id=tank_id, lamps=[place], since=date(2026, 7, 1), reason="a step"
        )


def measure(club: Database, tank_id: int) -> None:
    with club.read() as db:
        setup = tanks.current_setup(db, tank_id)
        assert setup is not None
    plan = plan_of(club, tank_id, setup.id)
    points = twelve_places(plan)
    store(club, tank_id, setup.id, points, scattered(real_light(plan, points)))


def test_a_plan_has_its_doubt(
    client: TestClient, cast: Cast, tank_id: int, token_of: Token
) -> None:
    told = client.get(f"/api/tanks/{tank_id}/account", headers=token_of(cast.ivo)).json()
    assert set(told) == FIELDS and set(told["animals"][0]) == ANIMAL
    assert (told["basis"], told["readings_on"]) == ("planned", [])
    assert told["known_to_percent"] > 25
    for one in told["animals"]:
        assert one["low"] < one["ppfd"] < one["high"] and one["dli_mol_m2_d"] is None
        assert one["verdict"] in {"too_dim", "in_range", "too_bright", "not_known"}
        assert 0 <= one["chance_in_range"] <= 1
    assert told["animals"][0]["wants"] == [200, 350]


def test_readings_make_it_measured_and_a_step_of_power_carries_them_over(
    client: TestClient, club: Database, cast: Cast, tank_id: int, token_of: Token
) -> None:
    headers = token_of(cast.ivo)
    measure(club, tank_id)
    measured = client.get(f"/api/tanks/{tank_id}/account", headers=headers).json()
    assert (measured["basis"], measured["readings_on"]) == ("measured", ["2026-06-01"])
    assert measured["known_to_percent"] <= 8
    step_down(club, tank_id, 0.5)
    carried = client.get(f"/api/tanks/{tank_id}/account", headers=headers).json()
    assert (carried["basis"], carried["readings_on"]) == ("carried", ["2026-06-01"])
    assert measured["known_to_percent"] <= carried["known_to_percent"] <= 12
    for before, after in zip(measured["animals"], carried["animals"], strict=True):
        assert after["ppfd"] == pytest.approx(before["ppfd"] / 2, rel=0.01)
    (line,) = carried["set_now"]
    assert (line["lamp"], line["time"], line["type_percent"]) == ("Flatlight", "", 50.0)


def test_other_lamps_are_a_plan_again(
    client: TestClient, club: Database, cast: Cast, tank_id: int, token_of: Token
) -> None:
    measure(club, tank_id)
    with club.write() as db:
        model = LampModel(
            name="Other", kind="led_panel", beam_deg=90, watts=60, ppf_umol_s=120,
            side_cm=20, created_at=members.now(),
        )  # fmt: skip
        db.add(model)
        db.flush()
        place = tanks.LampPlace(lamp_model_id=model.id, x_cm=45, y_cm=22, height_cm=25)
        tanks.save_setup(
            db, tank_id=tank_id, lamps=[place], since=date(2026, 7, 1), reason="new lamp"
        )
    told = client.get(f"/api/tanks/{tank_id}/account", headers=token_of(cast.ivo)).json()
    assert (told["basis"], told["readings_on"]) == ("planned", [])


def test_a_tank_without_lamp_or_animals_is_told_what_comes_next(
    client: TestClient, club: Database, cast: Cast, token_of: Token
) -> None:
    with club.write() as db:
        words = tanks.TankWords(name="Bare", length_cm=90, width_cm=45, depth_cm=45)
        bare = tanks.add_tank(db, owner_id=cast.ivo.id, words=words).id
    told = client.get(f"/api/tanks/{bare}/account", headers=token_of(cast.ivo)).json()
    assert told["known_to_percent"] is None and told["animals"] == [] and told["set_now"] == []
    assert told["proposal"] is None and told["why_none"] and "Hang a lamp" in told["next_step"]


def test_a_private_tank_is_not_there_for_others(
    client: TestClient, club: Database, cast: Cast, tank_id: int, token_of: Token
) -> None:
    address = f"/api/tanks/{tank_id}/account"
    assert client.get(address).status_code == 401
    for other in (cast.tess, cast.mara):
        answer = client.get(address, headers=token_of(other))
        assert answer.status_code == 404
        assert answer.headers["content-type"].startswith("application/problem+json")
        assert "Lagoon" not in answer.text and "Grove" not in answer.text
    for number in ("0", "-1", "99999999999999999999", "999"):
        away = client.get(f"/api/tanks/{number}/account", headers=token_of(cast.ivo))
        assert away.status_code in (404, 422)
    with club.write() as db:
        db.get_one(Tank, tank_id).shared = True
    assert client.get(address, headers=token_of(cast.tess)).status_code == 200
