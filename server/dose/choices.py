"""The same dose in several ways: longer and dimmer against shorter and brighter."""

from dataclasses import dataclass

from server.dose.dose import Dose, dose
from server.dose.shapes import Trapezoid, Viewing, centred, peak_for, seen_hours

LIT_HOURS = (8.0, 9.0, 10.0, 11.0, 12.0)
"""Lengths of day set side by side; 8–12 hours is common practice, no published source."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One way to give the dose; `seen_hours` [h] of the wanted viewing time are lit."""

    shape: Trapezoid
    dose: Dose
    seen_hours: float
    within_peak: bool


def choices(
    *,
    dli_mol_m2_d: float,
    peak_limit_ppfd: float,
    ramp_hours: float,
    viewing: Viewing,
    compensation_ppfd: float,
    saturation_ppfd: float,
    lit_hours: tuple[float, ...] = LIT_HOURS,
) -> tuple[Choice, ...]:
    """One `Choice` per length of day, all with the same dose, around the viewing time.

    `within_peak` says whether the peak stays at or below `peak_limit_ppfd` [µmol m⁻² s⁻¹].
    """
    made = []
    for hours in lit_hours:
        shape = centred(middle_h=viewing.middle_h, lit_hours=hours, ramp_hours=ramp_hours)
        peak = peak_for(dli_mol_m2_d=dli_mol_m2_d, lit_hours=hours, ramp_hours=ramp_hours)
        result = dose(
            shape.day,
            peak_ppfd=peak,
            compensation_ppfd=compensation_ppfd,
            saturation_ppfd=saturation_ppfd,
        )
        made.append(
            Choice(
                shape=shape,
                dose=result,
                seen_hours=seen_hours(shape.day, viewing),
                within_peak=peak <= peak_limit_ppfd * (1 + 1e-9),
            )
        )
    return tuple(made)


def best(found: tuple[Choice, ...]) -> Choice | None:
    """The choice to recommend: within the peak, most of the viewing time, then most feeding.

    `None` when every choice passes the peak.
    """
    allowed = [choice for choice in found if choice.within_peak]
    return max(allowed, key=_worth, default=None)


def _worth(choice: Choice) -> tuple[float, float]:
    return (round(choice.seen_hours, 2), round(choice.dose.photosynthesis_hours, 4))
