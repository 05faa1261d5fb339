"""The account worked out from the light as known, the animals, their day and what is set."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from server.account import sentences
from server.account.account import Account, AnimalLight, Glance, Proposal, ToType
from server.account.known_light import KnownLight
from server.surveys import verdict
from server.surveys.plan import Animal, points_of
from server.surveys.scaled import times
from server.surveys.verdict import Judged, Verdict

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Resident:
    """An animal of the tank: its row's number, and where it lives and what it wants.

    mol_per_ppfd: its day's dose for each µmol m⁻² s⁻¹ of its light at the day's peak
    [mol m⁻² d⁻¹ per µmol m⁻² s⁻¹], None without a day.
    """

    key: int
    animal: Animal
    mol_per_ppfd: float | None = None


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What the account says besides the light: what to type, and what is due.

    due: a step or check that has come round, in one sentence; empty when there is none.
    """

    set_now: tuple[ToType, ...] = ()
    due: str = ""


def glance(
    light: KnownLight | None,
    residents: Sequence[Resident],
    *,
    as_of: date,
    light_since: date | None,
) -> Glance:
    """What everybody gets and how sure that is. light: None where none falls on the tank."""
    animals = animals_in(light, residents)
    return Glance(
        as_of=as_of,
        basis=light.basis if light else "planned",
        readings_on=light.readings_on if light else (),
        readings=light.readings if light else 0,
        light_since=light_since,
        known_to_percent=known_to(light, animals),
        animals=animals,
    )


def account(
    seen: Glance, light: KnownLight | None, proposal: Proposal | str, standing: Standing
) -> Account:
    """The whole account. proposal: or in words why there is none."""
    return Account(
        **vars(seen),
        proposal=None if isinstance(proposal, str) else proposal,
        why_none=proposal if isinstance(proposal, str) else "",
        set_now=standing.set_now,
        next_step=standing.due or _next_step(light, seen.animals, proposal),
    )


def animals_in(light: KnownLight | None, residents: Sequence[Resident]) -> tuple[AnimalLight, ...]:
    """What each animal gets; without light nothing is known of it."""
    if light is None:
        return tuple(_dark(n, one) for n, one in enumerate(residents))
    if not residents:
        return ()
    animals = [one.animal for one in residents]
    judged = verdict.judged(light.at(points_of(animals)), animals)
    return tuple(
        _lit(n, one, found) for n, (one, found) in enumerate(zip(residents, judged, strict=True))
    )


def animals_changed(
    light: KnownLight, residents: Sequence[Resident], factor: Floats
) -> tuple[AnimalLight, ...]:
    """The same where the light is `factor` of what hangs now: for a slider on the move."""
    if not residents:
        return ()
    animals = [one.animal for one in residents]
    judged = verdict.judged(times(light.at(points_of(animals)), factor), animals)
    return tuple(
        _lit(n, one, found) for n, (one, found) in enumerate(zip(residents, judged, strict=True))
    )


def known_to(light: KnownLight | None, animals: Sequence[AnimalLight]) -> int | None:
    """The median half-width of the animals' intervals [%]; of the whole tank where none lives."""
    if light is None:
        return None
    halves = [
        (one.high - one.low) / (2 * one.ppfd)
        for one in animals
        if one.ppfd and one.low is not None and one.high is not None
    ]
    if not halves:
        halves = list(light.at(_middle(light)).half_width)
    return max(1, round(100 * float(np.median(halves))))


def _middle(light: KnownLight) -> Floats:
    """Nine places half-way down, where nobody lives to be asked about."""
    tank = light.map.plan.tank
    x, y = np.meshgrid(
        np.array([0.25, 0.5, 0.75]) * tank.length_cm, np.array([0.25, 0.5, 0.75]) * tank.width_cm
    )
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, tank.depth_cm / 2)])


def letter(position: int) -> str:
    """The letter an animal carries on charts: a to z, then aa, ab, …"""
    round_, place = divmod(position, 26)
    return (letter(round_ - 1) if round_ else "") + "abcdefghijklmnopqrstuvwxyz"[place]


def _lit(n: int, one: Resident, found: Judged) -> AnimalLight:
    animal = one.animal
    return AnimalLight(
        key=one.key,
        letter=letter(n),
        name=animal.name,
        x_cm=animal.x_cm,
        y_cm=animal.y_cm,
        depth_cm=animal.depth_cm,
        ppfd=found.ppfd,
        low=found.low,
        high=found.high,
        low_wanted=animal.low_ppfd,
        high_wanted=animal.high_ppfd,
        verdict=found.verdict,
        chance_dim=found.chance_dim,
        chance_in_range=found.chance_in_range,
        chance_bright=found.chance_bright,
        dli_mol_m2_d=None if one.mol_per_ppfd is None else found.ppfd * one.mol_per_ppfd,
    )


def _dark(n: int, one: Resident) -> AnimalLight:
    """Without a lamp no chance is claimed."""
    animal = one.animal
    return AnimalLight(
        key=one.key,
        letter=letter(n),
        name=animal.name,
        x_cm=animal.x_cm,
        y_cm=animal.y_cm,
        depth_cm=animal.depth_cm,
        ppfd=None,
        low=None,
        high=None,
        low_wanted=animal.low_ppfd,
        high_wanted=animal.high_ppfd,
        verdict=Verdict.NOT_KNOWN,
        chance_dim=0.0,
        chance_in_range=0.0,
        chance_bright=0.0,
    )


def _next_step(
    light: KnownLight | None, animals: Sequence[AnimalLight], proposal: Proposal | str
) -> str:
    """What the keeper does next, where nothing is due."""
    if light is None:
        return "Hang a lamp over it, and its light can be planned."
    if not animals:
        return "Say who lives where, and each animal gets its verdict."
    if not light.measured:
        return "Measure this light at a few places under water."
    if not isinstance(proposal, str):
        return proposal.words
    if any(one.verdict is Verdict.NOT_KNOWN for one in animals):
        return "Measure once more where it is not known yet."
    return proposal or sentences.LEAVE_IT
