"""Who may see which tank, and that a changed light never overwrites an old one."""

from datetime import date, timedelta

import pytest

from server.db import members, tanks
from server.db.engine import Database
from server.models import LampModel, MeasurementSession, Member
from tests.conftest import Cast

TODAY = date(2026, 11, 25)
WORDS = tanks.TankWords(name="Lagoon", length_cm=90, width_cm=45, depth_cm=45)


def key(member: Member) -> int:
    assert member.id is not None
    return member.id


@pytest.fixture
def lamp_id(club: Database) -> int:
    with club.write() as db:
        model = LampModel(
            name="Flatlight", kind="led_panel", beam_deg=110, watts=90, created_at=members.now()
        )
        db.add(model)
        db.flush()
        assert model.id is not None
        return model.id


@pytest.fixture
def tank_id(club: Database, cast: Cast) -> int:
    with club.write() as db:
        tank = tanks.add_tank(db, owner_id=key(cast.ivo), words=WORDS)
        assert tank.id is not None
        return tank.id


def place(lamp_id: int, power: float = 1.0) -> tanks.LampPlace:
    return tanks.LampPlace(lamp_model_id=lamp_id, x_cm=45, y_cm=22, height_cm=20, power=power)


def test_a_private_tank_is_not_there_for_anybody_else(
    club: Database, cast: Cast, tank_id: int
) -> None:
    with club.read() as db:
        assert tanks.tank_seen(db, tank_id, key(cast.ivo)) is not None
        assert tanks.tank_seen(db, tank_id, key(cast.tess)) is None
        assert tanks.tank_seen(db, tank_id, key(cast.mara)) is None, "stewards neither"
        assert tanks.tanks_seen_by(db, key(cast.tess)) == []


def test_a_shared_tank_is_seen_until_it_is_set_aside(
    club: Database, cast: Cast, tank_id: int
) -> None:
    with club.write() as db:
        tanks.change_tank(db, tank_id, tanks.TankWords(**vars(WORDS) | {"shared": True}))
    with club.read() as db:
        assert tanks.tank_seen(db, tank_id, key(cast.tess)) is not None
        assert [tank.id for tank, _ in tanks.shared_tanks(db)] == [tank_id]
        assert tanks.shared_tanks(db, but_of=key(cast.ivo)) == []
    with club.write() as db:
        tanks.set_aside(db, tank_id)
    with club.read() as db:
        assert tanks.tank_seen(db, tank_id, key(cast.tess)) is None
        assert tanks.own_tanks(db, key(cast.ivo)) == []
        assert len(tanks.own_tanks(db, key(cast.ivo), archived=True)) == 1
    with club.write() as db:
        tanks.bring_back(db, tank_id)
    with club.read() as db:
        assert len(tanks.own_tanks(db, key(cast.ivo))) == 1


def test_an_id_no_table_can_hold_is_simply_not_there(club: Database, cast: Cast) -> None:
    with club.read() as db:
        assert tanks.tank_seen(db, 2**70, key(cast.ivo)) is None
        assert tanks.setup_seen(db, -1, key(cast.ivo)) is None


def test_a_change_of_light_on_another_day_makes_a_new_setup(
    club: Database, tank_id: int, lamp_id: int
) -> None:
    with club.write() as db:
        first = tanks.save_setup(
            db, tank_id=tank_id, lamps=[place(lamp_id)], since=TODAY, reason="first light"
        )
        second = tanks.save_setup(
            db,
            tank_id=tank_id,
            lamps=[place(lamp_id, 0.8), place(lamp_id, 0.5)],
            since=TODAY + timedelta(days=40),
            reason="too bright",
        )
    with club.read() as db:
        assert first.id != second.id
        assert tanks.current_setup(db, tank_id) == second
        assert tanks.setup_on(db, tank_id, TODAY + timedelta(days=39)) == first
        assert tanks.setup_on(db, tank_id, TODAY - timedelta(days=1)) is None
        assert [lamp.power for lamp in tanks.lamps_of(db, first.id or 0)] == [1.0]
        assert [lamp.power for lamp in tanks.lamps_of(db, second.id or 0)] == [0.8, 0.5]


def test_a_slip_put_right_the_same_day_stays_one_setup(
    club: Database, tank_id: int, lamp_id: int
) -> None:
    with club.write() as db:
        first = tanks.save_setup(
            db,
            tank_id=tank_id,
            lamps=[place(lamp_id), place(lamp_id)],
            since=TODAY,
            reason="first",
        )
        again = tanks.save_setup(
            db, tank_id=tank_id, lamps=[place(lamp_id, 0.4)], since=TODAY, reason=""
        )
    with club.read() as db:
        assert again.id == first.id
        assert again.reason == "first", "an empty reason does not wipe the one that was given"
        assert [lamp.power for lamp in tanks.lamps_of(db, first.id or 0)] == [0.4]


def test_a_measured_setup_is_not_corrected_but_followed(
    club: Database, tank_id: int, lamp_id: int
) -> None:
    with club.write() as db:
        first = tanks.save_setup(
            db, tank_id=tank_id, lamps=[place(lamp_id)], since=TODAY, reason="first"
        )
        db.add(
            MeasurementSession(
                tank_id=tank_id, setup_id=first.id, taken_on=TODAY, created_at=members.now()
            )
        )
    with club.write() as db:
        second = tanks.save_setup(
            db, tank_id=tank_id, lamps=[place(lamp_id, 0.5)], since=TODAY, reason="dimmed"
        )
    with club.read() as db:
        assert second.id != first.id
        assert tanks.current_setup(db, tank_id) == second
        assert tanks.lamps_of(db, first.id or 0)[0].power == 1.0


def test_a_plan_is_the_keepers_until_it_hangs(
    club: Database, cast: Cast, tank_id: int, lamp_id: int
) -> None:
    with club.write() as db:
        tanks.change_tank(db, tank_id, tanks.TankWords(**vars(WORDS) | {"shared": True}))
        plan = tanks.save_setup(
            db, tank_id=tank_id, lamps=[place(lamp_id)], since=TODAY, reason="", state="plan"
        )
    plan_id = plan.id or 0
    with club.read() as db:
        assert tanks.current_setup(db, tank_id) is None
        assert tanks.setup_seen(db, plan_id, key(cast.tess)) is None
        assert tanks.setup_seen(db, plan_id, key(cast.ivo)) is not None
    with club.write() as db:
        tanks.hang_plan(db, plan_id, since=TODAY, reason="new lamp")
    with club.read() as db:
        assert tanks.setup_seen(db, plan_id, key(cast.tess)) is not None
        current = tanks.current_setup(db, tank_id)
        assert current is not None and current.id == plan_id


def test_animals_live_from_the_day_they_came_to_the_day_they_left(
    club: Database, tank_id: int
) -> None:
    words = tanks.AnimalWords(
        name="Grove", group="soft", x_cm=10, y_cm=10, depth_cm=30,
        low_ppfd=75, high_ppfd=150, range_source="", placed_on=TODAY,
    )  # fmt: skip
    with club.write() as db:
        animal = tanks.add_animal(db, tank_id, words)
        tanks.animal_left(db, animal.id or 0, TODAY + timedelta(days=10))
    with club.read() as db:
        assert tanks.animals_of(db, tank_id) == []
        assert len(tanks.animals_gone(db, tank_id)) == 1
        there = [
            len(tanks.animals_of(db, tank_id, on=TODAY + timedelta(days=days)))
            for days in (-1, 0, 9, 10)
        ]
        assert there == [0, 1, 1, 0]
        assert tanks.animal_in(db, tank_id + 1, animal.id or 0) is None
