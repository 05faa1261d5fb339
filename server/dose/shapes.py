"""Days of a plain shape: up a ramp, full, down a ramp; and the way back from a wanted dose."""

import math
from dataclasses import dataclass

from server.dose.day import (
    HOURS,
    MOL_PER_UMOL_HOURS,
    Day,
    DayRefused,
    course,
    dli,
    hours_at_or_above,
    shifted,
    until,
)

RAMP_LIMITS_H = (0.0, 6.0)
DLI_LIMITS = (0.01, 60.0)
"""mol m⁻² d⁻¹; a clear tropical day above water comes to about 50–60."""
PEAK_LIMITS = (1.0, 2500.0)
"""µmol m⁻² s⁻¹; tropical noon above water is 2000–2250 (Bosscher & Schlager 1992)."""


class NoSuchDay(ValueError):
    """No day of this shape gives what was asked; the message says what would."""


@dataclass(frozen=True, kw_only=True)
class Trapezoid:
    """On at `on_h` [h], lit for `lit_hours`, the first and last `ramp_hours` rising and falling.

    `level`: percent of the peak while full. Raises `DayRefused` when the ramps do not fit.
    """

    on_h: float
    lit_hours: float
    ramp_hours: float = 0.0
    level: float = 100.0

    def __post_init__(self) -> None:
        if not 0 < self.lit_hours <= HOURS:
            raise DayRefused("A day is lit for more than 0 and at most 24 hours.")
        if not 0 <= 2 * self.ramp_hours <= self.lit_hours + 1e-9:
            raise DayRefused("Both ramps together must fit into the lit hours.")

    @property
    def full_hours(self) -> float:
        """Hours between the ramps [h]."""
        return max(self.lit_hours - 2 * self.ramp_hours, 0.0)

    @property
    def day(self) -> Day:
        """The same as points to type in; no double points where there is no ramp or plateau."""
        if self.lit_hours == HOURS and self.ramp_hours == 0:
            return Day(hours=(self.on_h % HOURS,), levels=(self.level,))
        ends = (0.0, self.ramp_hours, self.lit_hours - self.ramp_hours, self.lit_hours)
        levels = (0.0, self.level, self.level, 0.0)
        points = list(zip(ends, levels, strict=True))
        if self.full_hours == 0:
            points.pop(2)
        return Day(
            hours=tuple((self.on_h + hour) % HOURS % HOURS for hour, _ in points),
            levels=tuple(level for _, level in points),
        )


def centred(*, middle_h: float, lit_hours: float, ramp_hours: float) -> Trapezoid:
    """A trapezoid around `middle_h` [h]."""
    on_h = (middle_h - lit_hours / 2) % HOURS
    return Trapezoid(on_h=on_h, lit_hours=lit_hours, ramp_hours=ramp_hours)


def hours_for(*, dli_mol_m2_d: float, peak_ppfd: float, ramp_hours: float = 0.0) -> Trapezoid:
    """The day around noon that gives the dose without passing the peak.

    DLI = peak · (lit − ramp) · 3600e-6, solved for the lit hours. Where the dose is used up
    before the ramps are over, the ramps are made shorter and the day is a triangle. Raises
    `NoSuchDay` when even 24 hours would not do.
    """
    full_light_hours = dli_mol_m2_d / (peak_ppfd * MOL_PER_UMOL_HOURS)
    ramp = min(ramp_hours, full_light_hours)
    lit = full_light_hours + ramp
    if lit > HOURS:
        least = math.ceil(dli_mol_m2_d / ((HOURS - ramp_hours) * MOL_PER_UMOL_HOURS))
        raise NoSuchDay(
            f"{dli_mol_m2_d:.3g} mol m⁻² d⁻¹ would need {lit:.0f} hours at this peak. "
            f"Allow a peak of {least} µmol m⁻² s⁻¹ or more, or ask for a smaller dose."
        )
    return centred(middle_h=12.0, lit_hours=lit, ramp_hours=ramp)


def peak_for(*, dli_mol_m2_d: float, lit_hours: float, ramp_hours: float = 0.0) -> float:
    """Peak PPFD [µmol m⁻² s⁻¹] that gives the dose in these hours. Raises `DayRefused`."""
    shape = Trapezoid(on_h=0.0, lit_hours=lit_hours, ramp_hours=ramp_hours)
    return dli_mol_m2_d / ((shape.lit_hours - ramp_hours) * MOL_PER_UMOL_HOURS)


def peak_for_day(day: Day, *, dli_mol_m2_d: float) -> float:
    """Peak PPFD [µmol m⁻² s⁻¹] at which any day gives the dose. Raises `NoSuchDay` if dark."""
    per_peak = dli(course(day, peak_ppfd=1.0))
    if per_peak == 0:
        raise NoSuchDay("This day has no light, so no peak gives a dose. Raise a level above 0.")
    return dli_mol_m2_d / per_peak


@dataclass(frozen=True, kw_only=True)
class Viewing:
    """When the keeper wants to see the tank lit [h of day]; may run through midnight."""

    from_h: float
    to_h: float

    @property
    def hours(self) -> float:
        """Length [h]; 24 when both ends are one time."""
        return (self.to_h - self.from_h) % HOURS or HOURS

    @property
    def middle_h(self) -> float:
        """Middle [h of day]."""
        return (self.from_h + self.hours / 2) % HOURS


def seen_hours(day: Day, viewing: Viewing, *, at_least_percent: float = 10.0) -> float:
    """Hours of the viewing time [h] with the lamp at `at_least_percent` of its peak or more."""
    from_then = shifted(day, hours=-viewing.from_h)
    seen = until(course(from_then, peak_ppfd=100), hour=viewing.hours)
    return hours_at_or_above(seen, at_least_percent)
