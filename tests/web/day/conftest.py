"""Ivo's reef under one lamp with two channels, and a club calendar that can be turned on."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import pytest
from sqlmodel import Session

from server.db import club_day, days, tanks
from server.db.days import DayWords, GroupDay
from server.db.engine import Database
from server.db.members import now
from server.db.tanks import AnimalWords, LampPlace, TankWords
from server.dose.shapes import Trapezoid
from server.models import LampChannel, LampModel, Setup, Tank
from tests.conftest import Cast

TODAY = date(2026, 11, 25)
LONG_AGO = date(2026, 1, 10)


@dataclass(frozen=True)
class Reef:
    """Ids of what the tests use; animals shaded first, bright second."""

    tank: int
    setup: int
    lamp: int
    shaded: int
    bright: int
    private: int


@dataclass
class Calendar:
    """The club's day, as the tests want it."""

    on: date = TODAY

    def turn(self, days: int) -> None:
        self.on += timedelta(days=days)


@pytest.fixture
def calendar(monkeypatch: pytest.MonkeyPatch) -> Calendar:
    kept = Calendar()

    def noon(_db: Session) -> datetime:
        return datetime(kept.on.year, kept.on.month, kept.on.day, 10, tzinfo=UTC)

    monkeypatch.setattr(club_day, "club_clock", SimpleNamespace(now=noon))
    return kept


@pytest.fixture
def reef(club: Database, cast: Cast, calendar: Calendar) -> Reef:
    ivo, tess = cast.ivo.id or 0, cast.tess.id or 0
    with club.write() as db:
        tank = tanks.add_tank(db, owner_id=ivo, words=_tank("Window reef", shared=True))
        private = tanks.add_tank(db, owner_id=tess, words=_tank("Private cube"))
        lamp = LampModel(
            name="Lantern 90", kind="led_panel", beam_deg=100, watts=100, ppf_umol_s=220,
            control="full", created_at=now(),
        )  # fmt: skip
        db.add(lamp)
        db.flush()
        for name, share in (("Blue", 0.6), ("White", 0.4)):
            db.add(LampChannel(lamp_model_id=lamp.id or 0, name=name, share=share))
        setup = hang(db, tank, lamp, since=LONG_AGO, power=0.3)
        shaded = tanks.add_animal(db, tank.id or 0, _animal("Plate coral", 15, 20, 40))
        bright = tanks.add_animal(db, tank.id or 0, _animal("Staghorn", 60, 25, 12))
    return Reef(
        tank=tank.id or 0,
        setup=setup.id or 0,
        lamp=lamp.id or 0,
        shaded=shaded.id or 0,
        bright=bright.id or 0,
        private=private.id or 0,
    )


@pytest.fixture
def dated(club: Database, reef: Reef) -> Reef:
    """The reef with a day: 10:00 to 20:00 with an hour of ramp, long unchanged."""
    with club.write() as db:
        set_day(db, reef.tank, since=LONG_AGO)
    return reef


@pytest.fixture
def switched(club: Database, reef: Reef) -> Reef:
    """The reef's lamp on a clock switch."""
    with club.write() as db:
        lamp = db.get_one(LampModel, reef.lamp)
        lamp.control = "clock_switch"
        db.add(lamp)
    return reef


Typed = Callable[..., dict[str, str]]


def day_form(**changes: str) -> dict[str, str]:
    """The day's form as it is first shown, with changes."""
    typed = {
        "shape": "ramp",
        "on": "10:00",
        "off": "20:00",
        "ramp": "60",
        "level": "100",
        "moon": "",
        "moon_until": "",
        "latitude": "",
        "noon": "13:00",
        "points": "",
        "control": "",
        "view_from": "",
        "view_to": "",
        "since": TODAY.isoformat(),
        "reason": "the plate coral pales",
        "state": "set",
        "do": "save",
    }
    return typed | changes


def set_day(db: Session, tank_id: int, *, since: date) -> None:
    day = Trapezoid(on_h=10, lit_hours=10, ramp_hours=1).day
    words = DayWords(since=since, time_zone="Europe/Lisbon", reason="first day")
    days.save_schedule(db, tank_id=tank_id, words=words, days=[GroupDay(day=day)], by_id=None)


def hang(db: Session, tank: Tank, lamp: LampModel, *, since: date, power: float) -> Setup:
    place = LampPlace(lamp_model_id=lamp.id or 0, x_cm=60, y_cm=25, height_cm=25, power=power)
    return tanks.save_setup(db, tank_id=tank.id or 0, lamps=[place], since=since, reason="first")


def _tank(name: str, *, shared: bool = False) -> TankWords:
    return TankWords(name=name, length_cm=120, width_cm=50, depth_cm=55, shared=shared)


def _animal(name: str, x: float, y: float, depth: float) -> AnimalWords:
    return AnimalWords(
        name=name,
        group="small_polyp",
        x_cm=x,
        y_cm=y,
        depth_cm=depth,
        low_ppfd=200,
        high_ppfd=350,
        range_source="common practice, no published source",
        placed_on=date(2025, 12, 1),
    )
