"""Ivo's reef under two lamps, with three animals."""

from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest

from server.db import tanks
from server.db.engine import Database
from server.models import LampModel
from tests.conftest import Cast


@dataclass(frozen=True)
class Reef:
    """Ids of what was made."""

    tank: int
    setup: int
    model: int
    animals: tuple[int, ...]


ANIMALS = (
    ("Birdsnest", 33, 30, 14, 200, 350),
    ("Torch", 60, 16, 33, 75, 150),
    ("Plate", 14, 14, 45, 75, 150),
)


def make_reef(club: Database, owner_id: int, *, shared: bool = False) -> Reef:
    """A tank of 90 × 45 × 50 cm under two lamps of 24 emitters, 25 cm up."""
    with club.write() as db:
        model = LampModel(
            name="Driftlight 24", kind="led_cluster", beam_deg=80, watts=60, ppf_umol_s=110,
            count_x=6, count_y=4, pitch_x_cm=2.5, pitch_y_cm=2.5,
            min_height_cm=15, max_height_cm=60, created_at=datetime.now(UTC),
        )  # fmt: skip
        db.add(model)
        db.flush()
        assert model.id is not None
        tank = tanks.add_tank(
            db,
            owner_id=owner_id,
            words=tanks.TankWords(
                name="The long reef", length_cm=90, width_cm=45, depth_cm=50,
                wall_back="black", shared=shared,
            ),
        )  # fmt: skip
        assert tank.id is not None
        setup = tanks.save_setup(
            db,
            tank_id=tank.id,
            lamps=[
                tanks.LampPlace(lamp_model_id=model.id, x_cm=x, y_cm=22, height_cm=25, power=0.6)
                for x in (25, 65)
            ],
            since=date(2026, 5, 3),
            reason="",
            by_id=owner_id,
        )
        animals = [
            tanks.add_animal(
                db,
                tank.id,
                tanks.AnimalWords(
                    name=name, group="soft", x_cm=x, y_cm=y, depth_cm=depth, low_ppfd=low,
                    high_ppfd=high, range_source="common practice, no published source",
                    placed_on=date(2026, 5, 3),
                ),
            )
            for name, x, y, depth, low, high in ANIMALS
        ]  # fmt: skip
        assert setup.id is not None
        ids = tuple(animal.id or 0 for animal in animals)
        return Reef(tank=tank.id, setup=setup.id, model=model.id, animals=ids)


@pytest.fixture
def reef(club: Database, cast: Cast) -> Reef:
    assert cast.ivo.id is not None
    return make_reef(club, cast.ivo.id)
