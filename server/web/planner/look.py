"""The light and verdicts of a plan as asked for, on the measured map where there is one."""

from dataclasses import dataclass

import numpy as np

from server.db.light import Hung
from server.db.measured import Measured
from server.models import Animal, Setup, Tank
from server.web.planner import draw, known, light
from server.web.planner.form import WhatIf
from server.web.planner.judge import judge, judge_known
from server.web.tanks.judged import Judged


@dataclass(frozen=True, kw_only=True)
class Subject:
    """A setup as it was loaded."""

    tank: Tank
    setup: Setup
    hung: tuple[Hung, ...]
    animals: tuple[Animal, ...]
    own: bool
    is_current: bool
    measured: Measured | None = None
    """What readings under this setup say; None where nobody measured."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """Light and verdicts of a plan. by_lamp: at the animals, (lamps, animals); was: as it hangs."""

    cuts: light.Cuts
    views: light.Views
    doubt: draw.DoubtViews | None
    judged: tuple[Judged, ...]
    spreads: tuple[tuple[float, float] | None, ...]
    by_lamp: light.Floats
    was: light.Floats | None
    before: light.Lit


def look(of: Subject, asked: WhatIf, *, draft: bool) -> Seen:
    """Work out the light of a plan, on the model the readings put right where there are any."""
    cuts = light.Cuts(
        depth_cm=asked.depth_cm, front_y_cm=asked.front_y_cm, side_x_cm=asked.side_x_cm
    )
    before = light.lit(of.tank, of.hung)
    if of.measured is not None:
        before = known.put_right(of.measured.map, before)
    places = places_of(of)
    lit = light.moved(before, asked.hung, asked.lamps)
    views, by_lamp = _light(lit, cuts, places, draft=draft)
    now = _light(before, cuts, places, draft=draft)[1] if asked.changed else by_lamp
    if of.measured is None:
        total = by_lamp.sum(axis=0)
        return Seen(
            cuts=cuts,
            views=views,
            doubt=None,
            judged=judge(of.animals, total if of.hung else None),
            spreads=(None,) * len(of.animals),
            by_lamp=by_lamp,
            was=now.sum(axis=0) if asked.changed else None,
            before=before,
        )
    return _look_measured(of, of.measured, asked, (cuts, views, by_lamp, now, before))


def _light(
    lit: light.Lit, cuts: light.Cuts, places: light.Places, *, draft: bool
) -> tuple[light.Views, light.Floats]:
    if draft:
        return light.draft(lit, cuts, places)
    return light.views(lit, cuts), light.at_places(lit, places)


def _look_measured(
    of: Subject,
    measured: Measured,
    asked: WhatIf,
    made: tuple[light.Cuts, light.Views, light.Floats, light.Floats, light.Lit],
) -> Seen:
    """As `look`, with what the readings left over and how sure they make it."""
    cuts, views, by_lamp, now, before = made
    views, doubt = known.views(measured.map, views, cuts)
    factor = by_lamp.sum(axis=0) / np.maximum(now.sum(axis=0), 1e-6)
    found = known.judged(measured.map, places_of(of), of.animals, factor)
    hanging = known.at_animals(measured.map, places_of(of)).ppfd if of.animals else np.zeros(0)
    return Seen(
        cuts=cuts,
        views=views,
        doubt=doubt,
        judged=judge_known(of.animals, found),
        spreads=tuple((one.low, one.high) for one in found),
        by_lamp=by_lamp * hanging / np.maximum(now.sum(axis=0), 1e-6),
        was=hanging if asked.changed else None,
        before=before,
    )


def places_of(of: Subject) -> light.Places:
    """Where the animals live, held inside a tank that was made smaller since."""
    tank = of.tank
    return tuple(
        (min(a.x_cm, tank.length_cm), min(a.y_cm, tank.width_cm), min(a.depth_cm, tank.depth_cm))
        for a in of.animals
    )
