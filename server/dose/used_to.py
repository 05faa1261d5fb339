"""What an animal is used to: a first-order lag of the light it lived under.

    dA/dt = (E − A) / τ,  so under one light E for t days:  A(t) = E + (A(0) − E) · exp(−t/τ)

for the dose and for the peak alike. Light that stays the same from day to day is a stretch, and
stretch after stretch the formula is exact: nothing is stepped.

What is published and what is not (the figures were read as abstracts):

* Published: Acropora muricata adjusts both ways within 21 days (J Exp Biol 222:jeb195982);
  A. millepora needs more than 20 days, the shade plate Pachyseris 3–5 (DiPerna et al. 2018, PLoS
  ONE 13:e0203882); Stylophora's algae change within two weeks, its pigments over about six
  months (Front Mar Sci 2015, fmars.2015.00045). Order of 5–10 days in Turbinaria (Anthony &
  Hoegh-Guldberg 2003, Oecologia 134:23–31; from memory).
* Our derivation: a full response within 21 days is three time constants, so τ is about 7 days.
* Our judgement: that one lag serves every animal; that dose and peak lag alike; and that after
  three weeks under one light, where the lag leaves 5 % of the change, that light is simply what
  an animal is used to.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from server.dose.day import MOL_PER_UMOL_HOURS

TIME_CONSTANT_DAYS = 7.0
"""τ [d]; see the head of this file for where it comes from."""
SETTLED_DAYS = 21
"""Days under one light after which it is what an animal is used to: 3 τ; our judgement."""
SAME_LIGHT = 0.02
"""Light that differs by no more than this share counts as one light; our choice."""

UNKNOWN_SHARE = 0.5
"""Used-to light of an animal of unknown past: half the low end of what it should get. Hobby
practice ("start at half"), no published source."""

Basis = Literal["settled", "followed", "assumed"]
"""settled: three weeks or more under its present light. followed: the lag of what it lived under
here. assumed: part of it still rests on a past that nobody knows."""


@dataclass(frozen=True, kw_only=True)
class UsedTo:
    """The light one animal is used to: peak [µmol m⁻² s⁻¹] and dose [mol m⁻² d⁻¹]."""

    name: str
    peak_ppfd: float
    dli_mol_m2_d: float


@dataclass(frozen=True, kw_only=True)
class Lived:
    """One stretch of an animal's life: so many days [d] under one peak and one dose a day."""

    days: float
    peak_ppfd: float
    dli_mol_m2_d: float


@dataclass(frozen=True, kw_only=True)
class Followed:
    """What an animal is used to by its history, and what that rests on."""

    used_to: UsedTo
    basis: Basis

    @property
    def known(self) -> bool:
        """Whether no part of it rests on a past that nobody knows."""
        return self.basis != "assumed"


def at_the_shop(*, name: str, ppfd: float, hours: float) -> UsedTo:
    """The light of a shop's tank: `ppfd` [µmol m⁻² s⁻¹] for `hours` [h], on and off at once."""
    return UsedTo(name=name, peak_ppfd=ppfd, dli_mol_m2_d=ppfd * hours * MOL_PER_UMOL_HOURS)


def of_unknown_past(*, name: str, low_ppfd: float, hours: float) -> UsedTo:
    """What we assume of an animal whose past nobody knows; see `UNKNOWN_SHARE`."""
    return at_the_shop(name=name, ppfd=low_ppfd * UNKNOWN_SHARE, hours=hours)


def lagged(before: float, light: float, days: float, *, tau: float = TIME_CONSTANT_DAYS) -> float:
    """What somebody used to `before` is used to after `days` [d] under `light`, in its unit."""
    return light + (before - light) * math.exp(-days / tau)


def followed(
    lived: Sequence[Lived],
    *,
    start: UsedTo,
    start_known: bool,
    tau: float = TIME_CONSTANT_DAYS,
) -> Followed:
    """What an animal is used to after its stretches, oldest first, the last one being today's.

    `start`: what it was used to before the first of them; `start_known`: whether anybody said
    so. Its name is the animal's.
    """
    settled = [place for place in range(len(lived)) if _settled(lived[: place + 1])]
    peak, dli, basis = start.peak_ppfd, start.dli_mol_m2_d, _basis(start_known)
    after = 0
    if settled:
        after = settled[-1] + 1
        peak, dli = lived[after - 1].peak_ppfd, lived[after - 1].dli_mol_m2_d
        basis = "settled" if after == len(lived) else "followed"
    elif sum(one.days for one in lived) >= SETTLED_DAYS:
        basis = "followed"
    for one in lived[after:]:
        peak = lagged(peak, one.peak_ppfd, one.days, tau=tau)
        dli = lagged(dli, one.dli_mol_m2_d, one.days, tau=tau)
    return Followed(used_to=UsedTo(name=start.name, peak_ppfd=peak, dli_mol_m2_d=dli), basis=basis)


def _basis(start_known: bool) -> Basis:
    return "followed" if start_known else "assumed"


def _settled(lived: Sequence[Lived]) -> bool:
    """Whether the last stretch ends three weeks or more under one light.

    Nobody gets used to darkness: there the lag goes on.
    """
    last, days = lived[-1], 0.0
    for one in reversed(lived):
        if not _same(one, last):
            break
        days += one.days
    return days >= SETTLED_DAYS and last.dli_mol_m2_d > 0


def _same(one: Lived, other: Lived) -> bool:
    return math.isclose(one.peak_ppfd, other.peak_ppfd, rel_tol=SAME_LIGHT) and math.isclose(
        one.dli_mol_m2_d, other.dli_mol_m2_d, rel_tol=SAME_LIGHT
    )


def rise_over(used_to: UsedTo, *, peak_ppfd: float, dli_mol_m2_d: float) -> float:
    """How much brighter a light is than what an animal is used to: the larger share, from −1 up.

    Infinite for light after none.
    """
    return max(_rise(used_to.peak_ppfd, peak_ppfd), _rise(used_to.dli_mol_m2_d, dli_mol_m2_d))


def _rise(before: float, after: float) -> float:
    if before > 0:
        return after / before - 1
    return math.inf if after > 0 else 0.0
