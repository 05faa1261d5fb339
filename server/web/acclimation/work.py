"""The sums of a way: what animals are used to, the plan on the field, a step looked at again."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from server.db import acclimation, lived_under
from server.db.acclimation import SHOP_LIGHT, KnownAs
from server.db.goal import Goal, dims, notched
from server.dose.acclimation import DEFAULT_WEEKLY_RISE, Plan, plan
from server.dose.ladder import Means
from server.dose.used_to import UsedTo, at_the_shop, of_unknown_past
from server.models import AcclimationStep, Animal
from server.web.acclimation.desk import Desk, UnderWay
from server.web.acclimation.form import LEAST_HOURS, LEAST_POWER, PAST_WORDS, Past, WayTyped

FloatArray = NDArray[np.float64]
# Stored figures are rounded; a rise is looked at again with this much room, far below 1 %.
ROUNDED = 2e-3

BASIS_WORDS = {
    "settled": "three weeks or more under this light",
    "followed": "what it lived under here",
    "assumed": "not all of its past is known",
}


def known(typed: WayTyped, desk: Desk, hours: float) -> tuple[KnownAs, ...]:
    """What each animal is used to, by what the keeper said of its past."""
    return tuple(
        _known(past, typed, desk, animal, hours)
        for animal, past in zip(desk.animals, typed.past, strict=True)
    )


def by_history(desk: Desk, hours: float) -> tuple[KnownAs, ...]:
    """What each animal is used to by its history alone."""
    return tuple(_of_history(desk, animal, hours) for animal in desk.animals)


def _known(past: Past, typed: WayTyped, desk: Desk, animal: Animal, hours: float) -> KnownAs:
    now = desk.now.get(animal.id)
    if past == "shop":
        said = at_the_shop(name=animal.name, ppfd=typed.shop_ppfd, hours=typed.shop_hours)
        return KnownAs(animal_id=animal.id, used_to=said, basis=SHOP_LIGHT)
    if past == "now" and now is not None and now.dli_mol_m2_d > 0:
        return KnownAs(animal_id=animal.id, used_to=now, basis=PAST_WORDS["now"])
    return _of_history(desk, animal, hours) if past == "history" else _unknown(animal, hours)


def _of_history(desk: Desk, animal: Animal, hours: float) -> KnownAs:
    found = desk.used.get(animal.id)
    if found is None or found.used_to.dli_mol_m2_d <= 0:
        return _unknown(animal, hours)
    used_to = found.used_to
    if desk.lived.by_step:
        used_to = _at_least(used_to, desk.now[animal.id])
    return KnownAs(animal_id=animal.id, used_to=used_to, basis=BASIS_WORDS[found.basis])


def _at_least(used_to: UsedTo, now: UsedTo) -> UsedTo:
    """Light that a way led up to, step by step, is light the next step may count from."""
    return replace(
        used_to,
        peak_ppfd=max(used_to.peak_ppfd, now.peak_ppfd),
        dli_mol_m2_d=max(used_to.dli_mol_m2_d, now.dli_mol_m2_d),
    )


def _unknown(animal: Animal, hours: float) -> KnownAs:
    used_to = of_unknown_past(name=animal.name, low_ppfd=animal.low_ppfd, hours=hours)
    return KnownAs(animal_id=animal.id, used_to=used_to, basis=PAST_WORDS["unknown"])


# The plan


def usual_means(goal: Goal, room_cm: float) -> Means:
    """By power where every lamp dims, else by height and hours."""
    if dims(goal):
        return Means(least_power=LEAST_POWER / 100)
    return Means(most_raised_cm=float(int(room_cm)), least_lit_share=LEAST_HOURS / 100)


def from_brighter(means: Means, goal: Goal, desk: Desk) -> Means:
    """The means with room to come down from brighter light, unless somebody is too bright now.

    A lamp goes no brighter than it can, and hangs no lower than it does today.
    """
    if too_bright_now(desk.now, desk.animals):
        return means
    brightest = max((one.row.power for one in goal.hung), default=0.0)
    hung = desk.lived.stretches[-1].rows.hung if desk.lived.stretches else ()
    lower = min((one.row.height_cm for one in goal.hung), default=0.0) - min(
        (one.row.height_cm for one in hung), default=0.0
    )
    return replace(
        means,
        most_power=1 / brightest if dims(goal) and brightest > 0 else 1.0,
        most_lowered_cm=float(int(max(lower, 0.0))) if not dims(goal) and hung else 0.0,
    )


def too_bright_now(now: Mapping[int, UsedTo], animals: Sequence[Animal]) -> tuple[str, ...]:
    """Who gets more than it should today: for them down at once is the kinder way."""
    return tuple(
        one.name for one in animals if one.id in now and now[one.id].peak_ppfd > one.high_ppfd
    )


def way_to(
    goal: Goal,
    desk: Desk,
    from_light: Sequence[KnownAs],
    means: Means,
    *,
    start: date,
    hangs: bool,
    weekly: float = DEFAULT_WEEKLY_RISE,
    step_days: int = 7,
) -> Plan:
    """The plan on the light field. Raises `NoWayUp`."""
    return plan(
        used_to=[one.used_to for one in from_light],
        field=goal.field(desk.animals),
        days=goal.able(1.0),
        able=goal.able,
        means=notched(means, goal),
        start=start,
        weekly=weekly,
        step_days=step_days,
        hangs=hangs,
    )


# A step looked at again


def too_much(seen: UnderWay, step: AcclimationStep) -> tuple[str, float] | None:
    """The animal a step would now raise by more than the limit, and by how much; else None.

    Looked at again when a step falls due: an animal may have been moved, a new one come in, or
    the goal redrawn since the plan was made. The first step counts from what animals are used
    to, each later one from what they live in.
    """
    means = json.loads(seen.plan.means)
    peak_held = means["least_power"] < 1.0 or means["most_raised_cm"] > 0.0
    light = seen.goal.light(seen.lived.animals, acclimation.setting_of(step))
    before = _counted_from(seen, step.number)
    worst: tuple[str, float] | None = None
    for place, animal in enumerate(seen.lived.animals):
        was = before.get(animal.id)
        if was is None:
            continue
        rise = _over(float(light.dli[place]), was.dli_mol_m2_d)
        if peak_held:
            rise = max(rise, _over(float(light.peak[place]), was.peak_ppfd))
        if rise > seen.plan.weekly_rise + ROUNDED and (worst is None or rise > worst[1]):
            worst = (animal.name, rise)
    return worst


def _over(after: float, before: float) -> float:
    return after / before - 1 if before > 0 else np.inf


def _counted_from(seen: UnderWay, number: int) -> dict[int, UsedTo]:
    lived = lived_under.lives_in(seen.lived)
    if number > 1 and lived:
        return lived
    stated = {
        one["animal_id"]: UsedTo(
            name=one["name"], peak_ppfd=one["peak_ppfd"], dli_mol_m2_d=one["dli_mol_m2_d"]
        )
        for one in json.loads(seen.plan.used_to)
    }
    return lived | stated
