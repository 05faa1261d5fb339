"""Ivo's tank with a lamp over it, and Tess's own one."""

from dataclasses import dataclass
from datetime import date

import pytest
from sqlmodel import Session

from server.db import tanks
from server.db.engine import Database
from server.db.members import now
from server.db.tanks import AnimalWords, LampPlace, TankWords
from server.models import LampModel, Meter, Setup, Tank
from tests.conftest import Cast


@dataclass(frozen=True)
class Scene:
    """Ids of what the tests use."""

    tank: int
    setup: int
    tess_tank: int
    shared_tank: int
    meter: int


@pytest.fixture
def scene(club: Database, cast: Cast) -> Scene:
    ivo, tess = cast.ivo.id or 0, cast.tess.id or 0
    with club.write() as db:
        tank = tanks.add_tank(db, owner_id=ivo, words=_tank("Window reef"))
        other = tanks.add_tank(db, owner_id=tess, words=_tank("Private cube"))
        shared = tanks.add_tank(db, owner_id=tess, words=_tank("Shown to all", shared=True))
        lamp = LampModel(
            name="Lantern 90", kind="led_cluster", beam_deg=90, watts=120, ppf_umol_s=250,
            created_at=now(),
        )  # fmt: skip
        meter = Meter(name="Club meter A", immersion_factor=1.25, created_at=now())
        db.add_all([lamp, meter])
        db.flush()
        setup = _hang(db, tank, lamp)
        tanks.add_animal(db, tank.id or 0, _animal("Plate coral", 30, 20, 40))
        tanks.add_animal(db, tank.id or 0, _animal("Staghorn", 70, 30, 12))
    return Scene(
        tank=tank.id or 0,
        setup=setup.id or 0,
        tess_tank=other.id or 0,
        shared_tank=shared.id or 0,
        meter=meter.id or 0,
    )


def _tank(name: str, *, shared: bool = False) -> TankWords:
    return TankWords(name=name, length_cm=120, width_cm=50, depth_cm=55, shared=shared)


def _hang(db: Session, tank: Tank, lamp: LampModel) -> Setup:
    place = LampPlace(lamp_model_id=lamp.id or 0, x_cm=60, y_cm=25, height_cm=25)
    return tanks.save_setup(
        db,
        tank_id=tank.id or 0,
        lamps=[place],
        since=date(2026, 1, 1),
        reason="first light",
    )


def _animal(name: str, x: float, y: float, depth: float) -> AnimalWords:
    return AnimalWords(
        name=name, group="lps", x_cm=x, y_cm=y, depth_cm=depth, low_ppfd=75, high_ppfd=150,
        range_source="common practice", placed_on=date(2026, 1, 1),
    )  # fmt: skip
