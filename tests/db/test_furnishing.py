"""A rock set down begins a new setup; the old one keeps the tank as it stood."""

from datetime import date

import pytest

from server.db import light, measured, tanks
from server.db.engine import Database
from server.models import Tank
from server.optics.field import at_points
from server.reef.furnishing import Furnishing, Rock, as_text
from tests.conftest import Cast
from tests.db.bundle.test_bundle import make_tank

BLOCK = Rock(left_cm=30, right_cm=60, front_cm=10, back_cm=30, top_cm=10, bottom_cm=16)


def _floor_light(tank: Tank, hung: tuple[light.Hung, ...]) -> float:
    scene = light.scene(tank, hung)
    found = at_points(scene.tank, scene.water, scene.emitters, x_cm=[45], y_cm=[20], depth_cm=[45])
    return float(found[0])


def test_a_rock_is_a_change_of_light_and_the_past_keeps_its_tank(
    club: Database, cast: Cast
) -> None:
    with club.write() as db:
        tank_id = make_tank(db, cast.ivo)
        before = tanks.current_setup(db, tank_id)
        tanks.furnish(
            db, tank_id, as_text(Furnishing(rocks=(BLOCK,))),
            since=date(2026, 4, 2), reason="A block set down", by_id=cast.ivo.id,
        )  # fmt: skip
        after = tanks.current_setup(db, tank_id)
        tank = db.get_one(Tank, tank_id)
        assert before is not None and after is not None and after.id != before.id
        assert after.since == date(2026, 4, 2) and after.reason == "A block set down"
        old, new = measured.rows_of(db, tank, before), measured.rows_of(db, tank, after)

    def lamps(rows: measured.MeasuredRows) -> list[tuple[float, float, float]]:
        return [(one.row.x_cm, one.row.height_cm, one.row.power) for one in rows.hung]

    assert lamps(old) == lamps(new)
    assert not light.optics_tank(old.tank).rocks and light.optics_tank(new.tank).rocks
    assert _floor_light(new.tank, new.hung) < 0.6 * _floor_light(old.tank, old.hung)


def test_a_lean_moves_the_light_where_it_points(club: Database, cast: Cast) -> None:
    with club.write() as db:
        tank_id = make_tank(db, cast.ivo)
        setup = tanks.current_setup(db, tank_id)
        assert setup is not None
        (row,) = tanks.lamps_of(db, setup.id)
        row.tilt_deg, row.toward_deg = 30.0, 0.0
        db.add(row)
        db.flush()
        tank = db.get_one(Tank, tank_id)
        hung = light.hung_over(db, setup.id)
    scene = light.scene(tank, hung)
    left, right = at_points(
        scene.tank, scene.water, scene.emitters, x_cm=[25, 65], y_cm=[22, 22], depth_cm=[20, 20]
    )
    assert right > 1.2 * left
    assert tanks.place_of(row).tilt_deg == pytest.approx(30)
