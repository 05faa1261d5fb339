"""The light a way up leads to, joined from its rows: what each setting of the way gives."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.db.carried_readings import Surveyed, factors_at, places_of
from server.db.daylight import lamp_days, light_at, lit_parts, part_days, pressed_together
from server.db.days import GroupDay
from server.db.light import Hung
from server.dose.day import added, course, lit_hours
from server.dose.ladder import Means, Setting
from server.dose.together import Days, Light, light_of, shape_of
from server.models import Animal, Tank

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What the way leads to: lamps, their day, and how they are switched.

    `surveyed`: readings under the same lamps, whose correction is carried over.
    """

    tank: Tank
    hung: tuple[Hung, ...]
    days: tuple[GroupDay, ...]
    control: str
    surveyed: Surveyed | None = None

    def able(self, lit_share: float) -> Days:
        """The days the controls run when the goal's are shortened to a share."""
        wanted = pressed_together(self.days, lit_share)
        return part_days(lamp_days(self.hung, wanted, control=self.control))

    def field(self, animals: Sequence[Animal]) -> Callable[[float], FloatArray]:
        """Light of every channel group at the animals, with the lamps so much higher."""
        lamps = lamp_days(self.hung, self.days, control=self.control)
        factors = factors_at(self.surveyed, self.tank, places_of(self.tank, animals))

        def at_height(raised_cm: float) -> FloatArray:
            parts = lit_parts(self.tank, self.hung, lamps, raised_cm=raised_cm)
            full = light_at(self.tank, parts, animals)
            return full if factors is None else full * factors

        return at_height

    def light(self, animals: Sequence[Animal], setting: Setting) -> Light:
        """Peak and dose of the animals at a setting of the way."""
        full = self.field(animals)(setting.raised_cm) * setting.power
        return light_of(full, shape_of(self.able(setting.lit_share)))

    @property
    def lit_hours(self) -> float:
        """Hours with any light a day [h]."""
        return lit_hours(added(course(day, peak_ppfd=1) for day in self.able(1.0)))


def notched(means: Means, goal: Goal) -> Means:
    """The means with the notch of the brightest lamp: one percent on its own dial."""
    brightest = max(one.row.power for one in goal.hung)
    return replace(means, power_step=0.01 / brightest) if brightest > 0 else means
