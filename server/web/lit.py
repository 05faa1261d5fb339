"""A tank lit through its day: what the pages of day, dose and acclimation work out once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.db.daylight import (
    LampDay,
    LitGroup,
    course_at,
    lamp_days,
    light_at,
    lit_groups,
    places_of,
)
from server.db.days import GroupDay
from server.db.light import Hung
from server.db.moments import Moment, put_right
from server.dose.day import Course
from server.dose.together import Light, light_of, shape_of
from server.models import Animal, Tank

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Lit:
    """Lamps and their day over a tank, and the light of its animals in their order.

    `full` [groups, animals] is the light of each group fully on [µmol m⁻² s⁻¹].
    """

    lamps: tuple[LampDay, ...]
    groups: tuple[LitGroup, ...]
    animals: tuple[Animal, ...]
    full: FloatArray
    light: Light

    def put_right(self, factors: Sequence[float]) -> "Lit":
        """The same with the light of each animal times its factor [animals]."""
        by = np.asarray(factors, dtype=np.float64)
        light = Light(peak=self.light.peak * by, dli=self.light.dli * by)
        return replace(self, full=self.full * by, light=light)

    def course_of(self, place: int, *, lamp: int | None = None) -> Course:
        """The day's light of one animal, of all lamps or of one."""
        own = [n for n, group in enumerate(self.groups) if lamp in (None, group.lamp)]
        return course_at([self.groups[n] for n in own], self.full[own, place])


def lit(
    tank: Tank,
    hung: Sequence[Hung],
    days: Sequence[GroupDay],
    *,
    control: str,
    animals: Sequence[Animal],
    factors: FloatArray | None = None,
) -> Lit | None:
    """The tank lit as its controls can run the day; None without lamps or without a day.

    `factors` [animals]: what readings make of the plan's light at each animal.
    """
    if not hung or not days:
        return None
    lamps = lamp_days(hung, days, control=control)
    groups = lit_groups(tank, hung, lamps)
    full = light_at(tank, groups, animals)
    if factors is not None:
        full = full * factors
    return Lit(
        lamps=lamps,
        groups=groups,
        animals=tuple(animals),
        full=full,
        light=light_of(full, shape_of(tuple(group.day for group in groups))),
    )


def lit_moment(tank: Tank, at: Moment) -> Lit | None:
    """The tank lit as it was at a moment."""
    factors = put_right(at, places_of(tank, at.animals))
    return lit(tank, at.hung, at.days, control=at.control, animals=at.animals, factors=factors)
