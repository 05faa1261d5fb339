"""The account itself: plain values, each with its unit. Nothing here is worked out or worded."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from server.account.change import Change
from server.surveys.verdict import Verdict

Basis = Literal["planned", "measured", "carried"]
"""planned: from the lamps' stated figures. measured: from readings under what hangs now.
carried: from readings under the same lamps as they hung before."""


@dataclass(frozen=True, kw_only=True)
class AnimalLight:
    """What one animal gets.

    ppfd, low, high: light and its 80 % interval [µmol m⁻² s⁻¹] at the day's peak, None without
    a lamp. low_wanted, high_wanted: its range [µmol m⁻² s⁻¹]. Chances add up to 1; without a
    lamp none is claimed and all are 0. dli_mol_m2_d: the day's dose [mol m⁻² d⁻¹], None without
    a day.
    """

    key: int
    letter: str
    name: str
    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float | None
    low: float | None
    high: float | None
    low_wanted: float
    high_wanted: float
    verdict: Verdict
    chance_dim: float
    chance_in_range: float
    chance_bright: float
    dli_mol_m2_d: float | None = None


@dataclass(frozen=True, kw_only=True)
class ToType:
    """One number to type into a lamp's control.

    time: wall time HH:MM; empty for a lamp that has no day (it is switched by hand).
    type_percent: 0–100, of the lamp's own full light, the power of the plan and any step of the
    way up already in it; None for a lamp that can only be switched on and off.
    then: how it goes on from here: hold, rise, fall or jump; on or off for what is switched.
    """

    lamp: str
    channel: str
    time: str
    type_percent: float | None
    then: str = ""


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """The one change that would help most: what it is, and the chances before and after.

    words: the sentence. before, after: the thing changed, in words with units.
    chance_before, chance_after: expected share of animals in their range (0–1).
    measure_first: whether it rests on a plan that nobody has measured. order: the change alone,
    without a full stop. cautions: sentences that belong beside it. brighter: whether some animal
    would get clearly more than now and has to get used to it. change: itself, to be drawn.
    """

    words: str
    before: str
    after: str
    chance_before: float
    chance_after: float
    measure_first: bool
    order: str
    cautions: tuple[str, ...]
    brighter: bool
    change: Change


@dataclass(frozen=True, kw_only=True)
class Glance:
    """What everybody gets and how sure that is: the part of an account that lists show.

    Fields as of `Account`.
    """

    as_of: date
    basis: Basis
    readings_on: tuple[date, ...]
    readings: int
    light_since: date | None
    known_to_percent: int | None
    animals: tuple[AnimalLight, ...]


@dataclass(frozen=True, kw_only=True)
class Account(Glance):
    """The account of one tank's light on one day.

    known_to_percent: the median half-width of the animals' intervals, rounded; None without
    a lamp. readings_on: days of the readings it rests on; readings: how many.
    light_since: when lamps or day last changed. proposal: None where nothing would
    help; `why_none` then says why. next_step: one sentence, what the keeper does next and when.
    """

    proposal: Proposal | None
    why_none: str
    set_now: tuple[ToType, ...]
    next_step: str
