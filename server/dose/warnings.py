"""What a dose says about an animal: too little by a published threshold, more than it knows.

There is one published lower threshold and no published upper one. So low light is judged
against the figure, and high light only against what the animal has been used to.
"""

from dataclasses import dataclass
from typing import Literal

from server.dose.day import Course, hours_at_or_above, longest_dark_hours

LOW_DLI = (1.2, 1.9)
"""mol m⁻² d⁻¹ at which a tenth of colour was lost in 30 days: Acropora millepora, Pocillopora
acuta and a coralline alga. Bessell-Browne et al. 2017, Sci Rep 7, s41598-017-11783-z
(abstract)."""
LOW_DLI_SOURCE = "Bessell-Browne et al. 2017, Sci Rep 7, s41598-017-11783-z (abstract)"
BLEACHED_BELOW_DLI = 0.1
"""mol m⁻² d⁻¹ below which the same corals bleached within 30 days (same source)."""

NIGHT_LIGHT_PPFD = 0.15
"""µmol m⁻² s⁻¹ all night for a month harmed cultured symbionts: Front Physiol 2021,
PMC8256845 (abstract)."""
NIGHT_LIGHT_SOURCE = (
    "Front Physiol 2021, PMC8256845 (abstract); Acropora and Pocillopora: PMC6900201 (abstract)"
)
DARK_HOURS = 8.0
"""Hours without light we ask for each night: common practice, no published source."""

Low = Literal["dark", "low", "near", "enough"]


def low_light(dli_mol_m2_d: float) -> Low:
    """How a dose stands against the published threshold.

    "dark" below 0.1 mol m⁻² d⁻¹, "low" below 1.2, "near" inside 1.2–1.9, "enough" above.
    """
    if dli_mol_m2_d < BLEACHED_BELOW_DLI:
        return "dark"
    if dli_mol_m2_d < LOW_DLI[0]:
        return "low"
    return "near" if dli_mol_m2_d < LOW_DLI[1] else "enough"


@dataclass(frozen=True, kw_only=True)
class MoreThanUsedTo:
    """Light over what the animal is used to: ratios of dose and peak (1 = the same)."""

    dose_ratio: float
    peak_ratio: float

    @property
    def larger(self) -> float:
        """The larger of both ratios."""
        return max(self.dose_ratio, self.peak_ratio)


def against_history(
    *, dli_mol_m2_d: float, peak_ppfd: float, used_dli_mol_m2_d: float, used_peak_ppfd: float
) -> MoreThanUsedTo | None:
    """The light against the animal's history; `None` when nothing is known of it."""
    if used_dli_mol_m2_d <= 0 or used_peak_ppfd <= 0:
        return None
    return MoreThanUsedTo(
        dose_ratio=dli_mol_m2_d / used_dli_mol_m2_d, peak_ratio=peak_ppfd / used_peak_ppfd
    )


@dataclass(frozen=True, kw_only=True)
class Night:
    """The night: hours in the longest dark stretch, and hours of faint light outside the day."""

    dark_hours: float
    faint_hours: float

    @property
    def dark_enough(self) -> bool:
        """Whether the dark stretch is as long as common practice asks for."""
        return self.dark_hours >= DARK_HOURS - 1e-9


def night(light: Course) -> Night:
    """The night at one place; faint light is light below a twentieth of the day's peak."""
    lit = hours_at_or_above(light, 1e-9)
    bright = hours_at_or_above(light, max(light.peak_ppfd / 20, 1e-9))
    return Night(dark_hours=longest_dark_hours(light), faint_hours=max(lit - bright, 0.0))
