"""What a day of light comes to for an animal: its dose and the hours that feed it."""

from dataclasses import dataclass

from server.dose.day import (
    Course,
    Day,
    course,
    dli,
    full_hours,
    hours_at_or_above,
    lit_hours,
    longest_dark_hours,
)
from server.dose.photosynthesis import TANH, PECurve, hours_of_full_photosynthesis


@dataclass(frozen=True, kw_only=True)
class Dose:
    """A day's light at one place.

    `dli_mol_m2_d`; hours a day [h] with any light (`lit_hours`), at the highest level
    (`full_hours`), at or above compensation (`feeding_hours`), at or above saturation
    (`saturated_hours`) and the longest stretch in the dark; `saturation_share` (0–1): the
    day's photosynthesis over that of the lit hours all fully saturated.
    """

    peak_ppfd: float
    dli_mol_m2_d: float
    lit_hours: float
    full_hours: float
    feeding_hours: float
    saturated_hours: float
    dark_hours: float
    photosynthesis_hours: float
    saturation_share: float


def dose(
    day: Day,
    *,
    peak_ppfd: float,
    compensation_ppfd: float,
    saturation_ppfd: float,
    curve: PECurve = TANH,
) -> Dose:
    """The dose of one day at a place that gets `peak_ppfd` at full light [µmol m⁻² s⁻¹].

    Lit and full hours follow the lamp's level, so they hold for a place in full shade too.
    """
    return of_courses(
        course(day, peak_ppfd=peak_ppfd),
        lamp=course(day, peak_ppfd=100),
        compensation_ppfd=compensation_ppfd,
        saturation_ppfd=saturation_ppfd,
        curve=curve,
    )


def of_courses(
    light: Course,
    *,
    lamp: Course,
    compensation_ppfd: float,
    saturation_ppfd: float,
    curve: PECurve = TANH,
) -> Dose:
    """The dose of `light` at a place; `lamp` is the lamp's own day, for lit and full hours."""
    lit = lit_hours(lamp)
    worked = hours_of_full_photosynthesis(light, saturation_ppfd=saturation_ppfd, curve=curve)
    return Dose(
        peak_ppfd=light.peak_ppfd,
        dli_mol_m2_d=dli(light),
        lit_hours=lit,
        full_hours=full_hours(lamp),
        feeding_hours=hours_at_or_above(light, compensation_ppfd),
        saturated_hours=hours_at_or_above(light, saturation_ppfd),
        dark_hours=longest_dark_hours(lamp),
        photosynthesis_hours=worked,
        saturation_share=worked / lit if lit else 0.0,
    )
