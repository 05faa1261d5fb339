"""Lamps at the brightest moment of their day: what the account's light is of."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.db.daylight import LampDay, part_days
from server.db.light import Hung
from server.dose.control import WHOLE, ChannelDay
from server.dose.together import shape_of


def at_brightest(hung: Sequence[Hung], lamps: Sequence[LampDay]) -> tuple[Hung, ...]:
    """Each lamp dimmed as its day has it when all lamps together give most light.

    Fully on where there is no day, or none that lights the tank.
    """
    levels = _levels(hung, lamps)
    if levels is None:
        return tuple(hung)
    found = list(hung)
    for n, lamp in enumerate(lamps):
        for place in lamp.places:
            found[place] = _dimmed(hung[place], lamp.fit.groups, levels[n])
    return tuple(found)


def _levels(hung: Sequence[Hung], lamps: Sequence[LampDay]) -> list[tuple[float, ...]] | None:
    """0–1 of each channel group of each lamp model at the brightest moment."""
    days = part_days(lamps)
    flux = [_flux(hung, lamp, group) for lamp in lamps for group in lamp.fit.groups]
    if not days or not sum(flux):
        return None
    corners = shape_of(days).corners
    together = corners @ np.array(flux)
    if together.max() <= 0:
        return None
    brightest = iter(corners[int(np.argmax(together))])
    return [tuple(float(next(brightest)) for _ in lamp.fit.groups) for lamp in lamps]


def _flux(hung: Sequence[Hung], lamp: LampDay, group: ChannelDay) -> float:
    """Photon flux of a channel group of all lamps of a model, fully on [µmol s⁻¹]."""
    own = [hung[place] for place in lamp.places]
    return sum(
        one.stated.lamp.ppf_umol_s * one.row.power * group.share * one.levels.get(group.name, 1.0)
        for one in own
    )


def _dimmed(one: Hung, groups: Sequence[ChannelDay], levels: Sequence[float]) -> Hung:
    if [group.name for group in groups] == [WHOLE]:
        return replace(one, day_level=levels[0])
    by_channel = {
        group.name: one.levels.get(group.name, 1.0) * level
        for group, level in zip(groups, levels, strict=True)
    }
    return replace(one, levels={**one.levels, **by_channel})
