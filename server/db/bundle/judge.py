"""Whether what a bundle brought makes sense: everything a page would stumble over is refused."""

import json
import math
from collections.abc import Callable, Sequence
from typing import Any
from zoneinfo import available_timezones

from sqlmodel import Session, select

from server.db import acclimation, days, light, tanks
from server.dose.ladder import Means
from server.models import AcclimationPlan, MeasurementSession, Reading, Tank, Upload
from server.optics.lamp import LIMITS
from server.surveys.table_log import FIRST_YEAR, LAST_YEAR

KNOWN_AS = {"animal_id", "name", "peak_ppfd", "dli_mol_m2_d", "from"}
_NUMBERS_OF_A_READING = ("x_cm", "y_cm", "depth_cm", "raw_ppfd", "ppfd")


class Senseless(ValueError):
    """The words say what does not make sense."""


def judge(db: Session, tank_id: int) -> None:
    """Raises Senseless for the first thing that does not make sense."""
    tank = db.get_one(Tank, tank_id)
    for part in (_light, _animals, _readings, _schedules, _acclimation, _uploads):
        _guarded(part, db, tank)


def _guarded(part: Callable[[Session, Tank], None], db: Session, tank: Tank) -> None:
    try:
        part(db, tank)
    except Senseless:
        raise
    except (ValueError, KeyError, TypeError, LookupError, RecursionError, OverflowError) as error:
        told = part.__name__.strip("_")
        raise Senseless(f"its {told} is not possible: {error}") from error


def _light(db: Session, tank: Tank) -> None:
    light.optics_tank(tank)
    for setup in tanks.setups_of(db, _id(tank)):
        light.optics_tank(tanks.as_stood(tank, setup))
        hung = light.hung_over(db, _id(setup))
        light.scene(tank, hung)
        for one in hung:
            _height(one.row.height_cm)
            _height(one.stated.row.min_height_cm)
            _height(one.stated.row.max_height_cm)


def _height(height_cm: float | None) -> None:
    least, most = LIMITS["height_cm"]
    if height_cm is not None and not least <= height_cm <= most:
        raise Senseless(f"a lamp's height of {height_cm:g} cm is out of reason")


def _animals(db: Session, tank: Tank) -> None:
    for animal in tanks.animals_of(db, _id(tank)) + tanks.animals_gone(db, _id(tank)):
        place = (animal.x_cm, animal.y_cm, animal.depth_cm)
        sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
        if not all(0 <= value <= side for value, side in zip(place, sides, strict=True)):
            raise Senseless(f"an animal, {animal.name}, sits outside the tank")


def _readings(db: Session, tank: Tank) -> None:
    """Readings may lie outside a tank that was made smaller since, but not out of reason."""
    rounds = select(MeasurementSession).where(MeasurementSession.tank_id == tank.id)
    for session in db.exec(rounds):
        if not FIRST_YEAR <= session.taken_on.year <= LAST_YEAR:
            raise Senseless(f"a session of {session.taken_on} is out of reason")
    columns = [getattr(Reading, name) for name in _NUMBERS_OF_A_READING]
    asked = select(*columns).join(MeasurementSession).where(MeasurementSession.tank_id == tank.id)
    for values in db.exec(asked):
        if not all(0 <= value < 1e6 for value in values):
            raise Senseless("a reading is out of reason")


def _schedules(db: Session, tank: Tank) -> None:
    zones = available_timezones()
    for schedule in days.schedules_of(db, _id(tank)):
        if not days.days_of(db, _id(schedule)):
            raise Senseless("a schedule has no day")
        if schedule.time_zone not in zones:
            raise Senseless(f"there is no time zone {schedule.time_zone}")


def _acclimation(db: Session, tank: Tank) -> None:
    for plan in acclimation.plans_of(db, _id(tank)):
        _way(db, plan)


def _way(db: Session, plan: AcclimationPlan) -> None:
    steps = acclimation.steps_of(db, _id(plan))
    if not steps:
        raise Senseless("a way up has no steps")
    Means(**json.loads(plan.means))
    known = json.loads(plan.used_to)
    if not all(isinstance(one, dict) and set(one) == KNOWN_AS for one in known):
        raise Senseless("a way up does not say what its animals are used to")
    _numbers([one[key] for one in known for key in ("peak_ppfd", "dli_mol_m2_d")])
    for step in steps:
        for numbers in (json.loads(step.peaks), json.loads(step.dlis)):
            if len(_numbers(numbers)) != len(known):
                raise Senseless("a step of a way up does not fit its animals")


def _uploads(db: Session, tank: Tank) -> None:
    for upload in db.exec(select(Upload).where(Upload.tank_id == tank.id)):
        for text in (upload.session_words, upload.read_as):
            if text and not isinstance(json.loads(text), dict):
                raise Senseless("a file's description is not a JSON object")


def _numbers(values: Sequence[Any]) -> Sequence[Any]:
    if not all(isinstance(one, int | float) and math.isfinite(one) for one in values):
        raise Senseless("a list of numbers holds something else")
    return values


def _id(row: Any) -> int:
    return int(row.id)
