"""The sums of a way up: what animals are used to, the plan on the field, a step looked at again."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.db.acclimation import KnownAs
from server.db.goal import Goal, notched
from server.db.light import Hung
from server.dose.acclimation import Plan, plan
from server.dose.ladder import Setting
from server.dose.used_to import UsedTo, at_the_shop, of_unknown_past
from server.models import Animal
from server.web.acclimation.form import PAST_WORDS, Past, WayTyped
from server.web.day.lit import Lit

FloatArray = NDArray[np.float64]
# Stored figures are rounded; a rise is looked at again with this much room, far below 1 %.
ROUNDED = 2e-3


def known(
    typed: WayTyped, animals: Sequence[Animal], now: Lit | None, before: Lit | None, hours: float
) -> tuple[KnownAs, ...]:
    """What each animal is used to, by what the keeper said of its past."""
    return tuple(
        _known(past, typed, animal, now, before, hours)
        for animal, past in zip(animals, typed.past, strict=True)
    )


def _known(
    past: Past,
    typed: WayTyped,
    animal: Animal,
    now: Lit | None,
    before: Lit | None,
    hours: float,
) -> KnownAs:
    """One animal's past; one that did not live in the light named is of unknown past."""
    used_to = _lived_in({"now": now, "before": before}.get(past), animal)
    if past == "shop":
        used_to = at_the_shop(name=animal.name, ppfd=typed.shop_ppfd, hours=typed.shop_hours)
    if used_to is None:
        past = "unknown"
        used_to = of_unknown_past(name=animal.name, low_ppfd=animal.low_ppfd, hours=hours)
    basis = PAST_WORDS[past].removesuffix(", below")
    return KnownAs(animal_id=animal.id, used_to=used_to, basis=basis)


def _lived_in(here: Lit | None, animal: Animal) -> UsedTo | None:
    if here is None:
        return None
    for place, other in enumerate(here.animals):
        if other.id == animal.id and here.light.dli[place] > 0:
            return UsedTo(
                name=animal.name,
                peak_ppfd=float(here.light.peak[place]),
                dli_mol_m2_d=float(here.light.dli[place]),
            )
    return None


def way_up(
    typed: WayTyped, goal: Goal, animals: Sequence[Animal], from_light: Sequence[KnownAs]
) -> Plan:
    """The plan on the light field. Raises `NoWayUp`."""
    return plan(
        used_to=[one.used_to for one in from_light],
        field=goal.field(animals),
        days=goal.able(1.0),
        able=goal.able,
        means=notched(typed.means, goal),
        start=typed.start,
        weekly=typed.weekly,
        step_days=typed.step_days,
    )


def too_much(
    goal: Goal,
    setting: Setting,
    animals: Sequence[Animal],
    lived: Sequence[UsedTo],
    *,
    weekly: float,
    peak_held: bool,
) -> tuple[str, float] | None:
    """The animal a step would now raise by more than the limit, and by how much; else None.

    Looked at again when a step falls due: an animal may have been moved, a new one come in, or
    the goal redrawn since the plan was made. `lived` is what each animal lives in today.
    """
    light = goal.light(animals, setting)
    worst: tuple[str, float] | None = None
    for place, was in enumerate(lived):
        rise = light.dli[place] / was.dli_mol_m2_d - 1 if was.dli_mol_m2_d > 0 else np.inf
        if peak_held:
            peak = light.peak[place] / was.peak_ppfd - 1 if was.peak_ppfd > 0 else np.inf
            rise = max(rise, peak)
        if rise > weekly + ROUNDED and (worst is None or rise > worst[1]):
            worst = (was.name, float(rise))
    return worst


def lives_in(animals: Sequence[Animal], now: Lit) -> list[UsedTo]:
    """What each animal gets today."""
    return [
        UsedTo(
            name=animal.name,
            peak_ppfd=float(now.light.peak[place]),
            dli_mol_m2_d=float(now.light.dli[place]),
        )
        for place, animal in enumerate(animals)
    ]


def at_setting(hung: Sequence[Hung], setting: Setting) -> tuple[Hung, ...]:
    """Lamps as they hang at a step."""
    return tuple(
        replace(
            one,
            row=one.row.model_copy(
                update={
                    "power": one.row.power * setting.power,
                    "height_cm": one.row.height_cm + setting.raised_cm,
                }
            ),
        )
        for one in hung
    )
