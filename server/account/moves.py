"""Every change that the lamps over a tank allow, and the straight light it would give.

Only what a lamp can do is ever made here: a level its control has, a height its papers and the
room above allow, a place within the rim and beside the other lamps. A fixed lamp's power stays.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.account.ability import Ability, Hang, Hanging, apart, over_glass
from server.account.change import Change, Kind
from server.account.sight import ROOT, Sight, hung_at, likeness
from server.optics.emitters import Emitter

Floats = NDArray[np.float64]
Tried = tuple[Change, Floats]
"""A change with the straight light it would give, (m,)."""

MESHES = (0.8, 0.65, 0.5)
"""Shares of light that plain meshes let through (common practice, no published source)."""

LEAST_TURN = 0.015
HEIGHTS_ASKED = 5
PLACE_STEP_CM = 12.0
MOST_PLACES = (8, 4)
LEVELS_OF_NEW = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class Moves:
    """What may be changed over one tank."""

    sight: Sight
    hanging: tuple[Hanging, ...]

    @property
    def hangs(self) -> tuple[Hang, ...]:
        return tuple(one.hang for one in self.hanging)

    @property
    def glass_cm(self) -> tuple[float, float]:
        tank = self.sight.plan.tank
        return tank.length_cm, tank.width_cm

    @cached_property
    def by_lamp(self) -> Floats:
        """Straight light of each lamp, (lamps, m)."""
        return np.array([self.sight.straight(lamp.emitters) for lamp in self.sight.plan.lamps])

    @cached_property
    def now(self) -> Floats:
        return np.asarray(self.by_lamp.sum(axis=0))

    @property
    def lit(self) -> tuple[int, ...]:
        """The lamps that shine."""
        return tuple(
            n
            for n, one in enumerate(self.hanging)
            if one.hang.power > 0 and any(e.ppf_umol_s > 0 for e in self._emitters(n))
        )

    def tried(self, kinds: frozenset[Kind]) -> Iterator[Tried]:
        """Every change of these kinds, places and heights on a coarse lattice."""
        makers = {
            Kind.POWER: self.turns,
            Kind.HEIGHT: self.lifts,
            Kind.LAMP_PLACE: self.places,
            Kind.MESH: self.meshes,
            Kind.TAKE_AWAY: self.removals,
            Kind.ADD: self.additions,
        }
        for kind, make in makers.items():
            if kind in kinds:
                yield from make()

    # Turning

    def turns(self) -> Iterator[Tried]:
        dimmable = [n for n in self.lit if self.hanging[n].ability.dims != "no"]
        for n in dimmable:
            for level in self.hanging[n].ability.levels:
                yield from self._turned({n: level})
        if len(dimmable) > 1:
            brightest = max(dimmable, key=lambda n: self.hangs[n].power)
            for level in self.hanging[brightest].ability.levels:
                share = level / self.hangs[brightest].power
                yield from self._turned({n: self._level(n, share) for n in dimmable})

    def _level(self, n: int, share: float) -> float | None:
        """The lamp's power times a share, on the nearest step of its control; None beyond it."""
        can = self.hanging[n].ability
        near = round(round(share * self.hangs[n].power / can.level_step) * can.level_step, 4)
        return near if can.runs_at(near) and near > 0 else None

    def _turned(self, levels: dict[int, float | None]) -> Iterator[Tried]:
        kept = {n: level for n, level in levels.items() if level is not None}
        moved = max(abs(level - self.hangs[n].power) for n, level in kept.items()) if kept else 0
        if len(kept) < len(levels) or moved < LEAST_TURN:
            return
        light = self.now + sum(
            (level / self.hangs[n].power - 1) * self.by_lamp[n] for n, level in kept.items()
        )
        after = {n: replace(self.hangs[n], power=level) for n, level in kept.items()}
        yield self._change(Kind.POWER, after), light

    def meshes(self) -> Iterator[Tried]:
        for n in self.lit:
            if self.hanging[n].ability.dims == "no":
                for mesh in MESHES:
                    change = Change(
                        kind=Kind.MESH, lamps=(n,), before=self.hangs, after=self.hangs, mesh=mesh
                    )
                    yield change, self.now + (mesh - 1) * self.by_lamp[n]

    # Raising and lowering

    def lifts(self) -> Iterator[Tried]:
        lifts = {n: self._lift_of(n) for n in self.lit if self.hanging[n].ability.heights_cm}
        for n in lifts:
            for height in self.hanging[n].ability.heights_cm:
                yield from self._lifted({n: height}, lifts)
        if len(self.lit) > 1 and len(lifts) == len(self.lit):
            for up in range(-60, 61):
                heights = {n: self.hangs[n].height_cm + up for n in lifts}
                if all(self.hanging[n].ability.hangs_at(h) for n, h in heights.items()):
                    yield from self._lifted(heights, lifts)

    def _lifted(self, heights: dict[int, float], lifts: "dict[int, _Lift]") -> Iterator[Tried]:
        if max(abs(h - self.hangs[n].height_cm) for n, h in heights.items()) < 1.0:
            return
        gained = [lifts[n].at(height) - self.by_lamp[n] for n, height in heights.items()]
        after = {n: replace(self.hangs[n], height_cm=height) for n, height in heights.items()}
        yield self._change(Kind.HEIGHT, after), self.now + np.sum(gained, axis=0)

    def _lift_of(self, n: int) -> "_Lift":
        can = self.hanging[n].ability
        turn = (np.arange(HEIGHTS_ASKED) + 0.5) * np.pi / HEIGHTS_ASKED
        ends = np.log([can.lowest_cm + 10.0, can.highest_cm + 10.0])
        nodes = ends.mean() - np.cos(turn) * (ends[1] - ends[0]) / 2
        if ends[1] - ends[0] < 1e-6:
            nodes = nodes[:1]
        asked = [replace(self.hangs[n], height_cm=float(np.exp(node) - 10.0)) for node in nodes]
        light = np.array([self.straight_of(n, hang) for hang in asked])
        return _Lift(nodes=nodes, root=light**ROOT)

    # Places

    def places(self) -> Iterator[Tried]:
        for n in self.lit:
            for spot in self.free_spots(self.hanging[n].ability, but=n):
                yield from self.placed(n, spot)

    def placed(self, n: int, spot: tuple[float, float]) -> Iterator[Tried]:
        """One lamp moved to a spot, where that is free and not where it hangs."""
        hang = replace(self.hangs[n], x_cm=spot[0], y_cm=spot[1])
        if np.hypot(hang.x_cm - self.hangs[n].x_cm, hang.y_cm - self.hangs[n].y_cm) < 2.0:
            return
        if self.is_free(hang, self.hanging[n].ability, but=n):
            light = self.now - self.by_lamp[n] + self._at_spot(n, hang)
            yield self._change(Kind.LAMP_PLACE, {n: hang}), light

    def free_spots(self, can: Ability, *, but: int | None) -> list[tuple[float, float]]:
        """Even spots over the glass where the lamp's whole length has room."""
        axes = [
            _spots(side, size, most)
            for side, size, most in zip(self.glass_cm, can.size_cm, MOST_PLACES, strict=True)
        ]
        spots = [(x, y) for x in axes[0] for y in axes[1]]
        like = Hang(power=1.0, height_cm=1.0, x_cm=0.0, y_cm=0.0)
        return [
            spot
            for spot in spots
            if self.is_free(replace(like, x_cm=spot[0], y_cm=spot[1]), can, but=but)
        ]

    def is_free(self, hang: Hang, can: Ability, *, but: int | None) -> bool:
        """Within the rim and over no other lamp."""
        others = [one for k, one in enumerate(self.hanging) if k != but]
        beside = all(apart(hang, can, one.hang, one.ability) for one in others)
        return beside and over_glass(self.glass_cm, hang, can)

    # Number

    def removals(self) -> Iterator[Tried]:
        for n in self.lit if len(self.lit) > 1 else ():
            after = (*self.hangs[:n], *self.hangs[n + 1 :])
            change = Change(kind=Kind.TAKE_AWAY, lamps=(n,), before=self.hangs, after=after)
            yield change, self.now - self.by_lamp[n]

    def additions(self) -> Iterator[Tried]:
        for n in self._kinds_of_lamp:
            levels = self.hanging[n].ability.levels
            for spot in self.free_spots(self.hanging[n].ability, but=None):
                yield from self.added(n, spot, levels[:: max(1, len(levels) // LEVELS_OF_NEW)])

    def added(self, n: int, spot: tuple[float, float], levels: Sequence[float]) -> Iterator[Tried]:
        """One more lamp like the n-th, at its height, at a free spot and each of the levels."""
        can, like = self.hanging[n].ability, self.hangs[n]
        hang = replace(like, x_cm=spot[0], y_cm=spot[1])
        if not can.hangs_at(hang.height_cm) or not self.is_free(hang, can, but=None):
            return
        light = self._at_spot(n, hang)
        for level in levels:
            after = (*self.hangs, replace(hang, power=level))
            change = Change(kind=Kind.ADD, lamps=(n,), before=self.hangs, after=after)
            yield change, self.now + light * (level / like.power)

    @property
    def _kinds_of_lamp(self) -> list[int]:
        """The first lamp of each kind that hangs."""
        return list(
            {likeness(self._emitters(n), self.hangs[n]): n for n in self.lit[::-1]}.values()
        )

    # Light

    def straight_of(self, n: int, hang: Hang) -> Floats:
        """Straight light of the n-th lamp hung otherwise."""
        return self.sight.straight(hung_at(self._emitters(n), self.hangs[n], hang))

    def emitters_after(self, change: Change) -> tuple[Emitter, ...]:
        """All emitters once the change is made; a mesh counts as light taken from its lamp."""
        lamps = [self._emitters(n) for n in range(len(self.hanging))]
        if change.kind is Kind.TAKE_AWAY:
            del lamps[change.lamps[0]]
        elif change.kind is Kind.ADD:
            n, new = change.lamps[0], change.after[-1]
            lamps.append(hung_at(lamps[n], self.hangs[n], new))
        else:
            for n in change.lamps:
                hang = change.after[n]
                dimmed = replace(hang, power=hang.power * change.mesh)
                lamps[n] = hung_at(lamps[n], self.hangs[n], dimmed)
        return tuple(emitter for lamp in lamps for emitter in lamp)

    def _emitters(self, n: int) -> tuple[Emitter, ...]:
        return self.sight.plan.lamps[n].emitters

    @cached_property
    def _spot_light(self) -> dict[tuple[object, ...], Floats]:
        return {}

    def _at_spot(self, n: int, hang: Hang) -> Floats:
        """Straight light of the n-th lamp at a spot; lamps alike share what was asked."""
        flux = sum(e.ppf_umol_s for e in self._emitters(n)) / self.hangs[n].power
        key = (likeness(self._emitters(n), self.hangs[n]), hang.x_cm, hang.y_cm)
        if key not in self._spot_light:
            self._spot_light[key] = self.straight_of(n, replace(hang, power=1.0)) / flux
        return self._spot_light[key] * flux * hang.power

    def _change(self, kind: Kind, after: dict[int, Hang]) -> Change:
        hangs = tuple(after.get(n, hang) for n, hang in enumerate(self.hangs))
        return Change(kind=kind, lamps=tuple(after), before=self.hangs, after=hangs)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lift:
    """One lamp's light at a few heights; its root is a polynomial in ln(height + 10 cm)."""

    nodes: Floats
    root: Floats

    def at(self, height_cm: float) -> Floats:
        at = np.log(height_cm + 10.0)
        weights = [
            np.prod([(at - other) / (node - other) for other in self.nodes if other != node])
            for node in self.nodes
        ]
        return np.asarray(np.maximum(np.array(weights) @ self.root, 0.0) ** (1 / ROOT))


def _spots(side_cm: float, size_cm: float, most: int) -> list[float]:
    """Even places for a lamp's middle along one side, in whole centimetres."""
    first, last = math.ceil(size_cm / 2), math.floor(side_cm - size_cm / 2)
    if last <= first:
        return [side_cm / 2] if size_cm <= side_cm + 0.1 else []
    count = int(np.clip(round((last - first) / PLACE_STEP_CM) + 1, 2, most))
    return [float(round(spot)) for spot in np.linspace(first, last, count)]
