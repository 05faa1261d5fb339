"""The light and verdicts of a plan as asked for, from the light as the account knows it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.account import cuts, left_over, reckoning
from server.account.account import AnimalLight
from server.account.cuts import Cuts, DoubtViews, Floats, Lit, Places, Views
from server.account.known_light import KnownLight
from server.db import accounts
from server.db.accounts import Told
from server.db.light import Hung
from server.db.lit import lit
from server.db.tanks import LampPlace
from server.models import Animal, HungLamp, Setup, Tank
from server.web.planner.form import WhatIf


@dataclass(frozen=True, kw_only=True)
class Subject:
    """A setup with its account."""

    told: Told
    setup: Setup
    own: bool
    is_current: bool

    @property
    def tank(self) -> Tank:
        return self.told.rows.tank

    @property
    def hung(self) -> tuple[Hung, ...]:
        return self.told.rows.hung

    @property
    def animals(self) -> tuple[Animal, ...]:
        return self.told.rows.animals


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """Light and verdicts of a plan; before: the lamps as they hang, put right.

    light: as known of the plan asked for, None where no light falls on the tank.
    """

    cuts: Cuts
    views: Views
    doubt: DoubtViews | None
    animals: tuple[AnimalLight, ...]
    light: KnownLight | None
    before: Lit


def look(of: Subject, asked: WhatIf, *, draft: bool) -> Seen:
    """Work out the light of a plan: the account's own where nothing was changed."""
    at = Cuts(depth_cm=asked.depth_cm, front_y_cm=asked.front_y_cm, side_x_cm=asked.side_x_cm)
    known = _if_hung(of, asked)
    stated = lit(of.tank, of.told.rows.brightest)
    if known is None:
        return _dark(of, at, stated)
    before = left_over.put_right(known.map, stated)
    moved = cuts.moved(before, asked.hung, asked.lamps)
    if draft:
        views, animals = _draft(of, known, at, before, moved, asked)
    else:
        views, animals = cuts.views(moved, at), reckoning.animals_in(known, _residents(of))
    views, doubt = left_over.views(_now(of, known).map, views, at)
    return Seen(cuts=at, views=views, doubt=doubt, animals=animals, light=known, before=before)


def _now(of: Subject, known: KnownLight) -> KnownLight:
    """The light as it hangs, whose left-over part and doubt a plan borrows."""
    return of.told.light or known


def _if_hung(of: Subject, asked: WhatIf) -> KnownLight | None:
    """The light of the plan asked for."""
    if not asked.changed:
        return of.told.light
    plan = accounts.plan_if(of.told.rows, _hung_as(of.hung, asked.lamps))
    if not any(emitter.ppf_umol_s > 0 for emitter in plan.emitters):
        return None
    return of.told.light.hung_as(plan) if of.told.light else accounts.unmeasured(plan)


def _hung_as(hung: Sequence[Hung], places: Sequence[LampPlace]) -> tuple[Hung, ...]:
    """The same lamps at other places; rows that are not stored."""
    return tuple(
        replace(one, row=HungLamp(**(one.row.model_dump() | vars(place))))
        for one, place in zip(hung, places, strict=True)
    )


def _residents(of: Subject) -> tuple[reckoning.Resident, ...]:
    return accounts.residents(of.told.rows)


def _dark(of: Subject, at: Cuts, stated: Lit) -> Seen:
    return Seen(
        cuts=at,
        views=cuts.views(replace(stated, powers=(0.0,) * len(stated.powers)), at),
        doubt=None,
        animals=reckoning.animals_in(None, _residents(of)),
        light=None,
        before=stated,
    )


def _draft(
    of: Subject, known: KnownLight, at: Cuts, before: Lit, moved: Lit, asked: WhatIf
) -> tuple[Views, tuple[AnimalLight, ...]]:
    """Coarse light while a slider moves: what hangs now times how far it would change."""
    places = places_of(of)
    views, then = cuts.draft(moved, at, places)
    if not asked.changed or of.told.light is None:
        return views, reckoning.animals_in(known, _residents(of))
    _, now = cuts.draft(before, at, places)
    factor: Floats = np.maximum(then.sum(axis=0), 1e-6) / np.maximum(now.sum(axis=0), 1e-6)
    return views, reckoning.animals_changed(of.told.light, _residents(of), factor)


def places_of(of: Subject) -> Places:
    """Where the animals live, held inside a tank that was made smaller since."""
    return tuple((one.x_cm, one.y_cm, one.depth_cm) for one in of.told.rows.living)
