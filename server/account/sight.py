"""The light of lamps at the animals, quickly, however the lamps would hang.

Straight light comes from the engine, asked on a few levels and read off between them. Light that
floor and walls scatter is costly and smooth: its pattern is kept as it is now, and its strength
follows the straight light. Only ratios to the light now are used, so both slips nearly cancel.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.account.ability import Hang
from server.optics.emitters import Emitter
from server.surveys import changed
from server.surveys.plan import Plan, light_of, scattered_at, straight_light_of

Floats = NDArray[np.float64]

LEVELS = 4
"""Depths at which the engine is asked; each costs it a table."""

ROOT = 0.25
"""Between levels this power of the light is a straight line: nearly its logarithm, but a level in
the shadow of the rim does not make the other dark."""

NET = (5, 3)
"""Places along and across on which the evenness of the light is looked at."""

DARK = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class Sight:
    """Points at the animals (n, 3) first, then a net over the middle one's depth.

    upper, lower: the same at the levels above and below, (m, 3); share: how far each is on its
    way to the lower one, (m,). halo: scattered light per mean straight light, (m,).
    """

    plan: Plan
    animals: int
    points: Floats
    upper: Floats
    lower: Floats
    share: Floats
    halo: Floats

    def straight(self, emitters: Sequence[Emitter]) -> Floats:
        """What these emitters give without scattering, (m,)."""
        both = straight_light_of(self.plan, emitters, np.concatenate([self.upper, self.lower]))
        above, below = (both**ROOT).reshape(2, -1)
        return np.asarray((above * (1 - self.share) + below * self.share) ** (1 / ROOT))

    def whole(self, straight: Floats) -> Floats:
        """Straight light (…, m) with what floor and walls make of it."""
        return np.asarray(straight + self.halo * straight.mean(axis=-1, keepdims=True))

    def exact(self, emitters: Sequence[Emitter]) -> Floats:
        """All of their light at the animals as the engine gives it, (n,)."""
        return np.maximum(light_of(self.plan, emitters, self.points[: self.animals]), DARK)

    def evenness(self, whole: Floats) -> float:
        """Least over mean on the net."""
        net = whole[self.animals :]
        return float(net.min() / max(float(net.mean()), DARK))


def sight(plan: Plan, places: Floats) -> Sight:
    """Over the lamps of a plan, for animals at places (n, 3)."""
    points = np.concatenate([places, _net(plan, float(np.median(places[:, 2])))])
    upper, lower, share = _levels(points, every=plan.tank.obstructed)
    bare = Sight(
        plan=plan,
        animals=len(places),
        points=points,
        upper=upper,
        lower=lower,
        share=share,
        halo=np.zeros(len(points)),
    )
    mean = max(float(bare.straight(plan.emitters).mean()), DARK)
    return replace(bare, halo=scattered_at(plan, plan.emitters, points) / mean)


def _net(plan: Plan, depth_cm: float) -> Floats:
    sides = (plan.tank.length_cm, plan.tank.width_cm)
    along, across = (
        side * (np.arange(count) + 0.5) / count for side, count in zip(sides, NET, strict=True)
    )
    grids = np.meshgrid(along, across, [depth_cm], indexing="ij")
    return np.stack([grid.ravel() for grid in grids], axis=1)


def _levels(points: Floats, *, every: bool) -> tuple[Floats, Floats, Floats]:
    """Each point at the level above and below it, and its share of the way between.

    every: each depth is a level of its own, as among rocks, whose shadows have edges.
    """
    depth = points[:, 2]
    levels = np.unique(depth)
    if levels.size > LEVELS and not every:
        levels = np.geomspace(depth.min() + 20.0, depth.max() + 20.0, LEVELS) - 20.0
        levels[0], levels[-1] = depth.min(), depth.max()
    at = np.clip(np.searchsorted(levels, depth, side="right") - 1, 0, max(levels.size - 2, 0))
    below = np.minimum(at + 1, levels.size - 1)
    gap = np.maximum(levels[below] - levels[at], DARK)
    share = np.clip((depth - levels[at]) / gap, 0.0, 1.0)
    return _at(points, levels[at]), _at(points, levels[below]), share


def _at(points: Floats, depth_cm: Floats) -> Floats:
    return np.column_stack([points[:, :2], depth_cm])


def hung_at(emitters: Sequence[Emitter], before: Hang, after: Hang) -> tuple[Emitter, ...]:
    """A lamp's emitters as they are once it hangs otherwise (its power too)."""
    factor = after.power / before.power if before.power > 0 else 0.0
    right, back = after.x_cm - before.x_cm, after.y_cm - before.y_cm
    up = after.height_cm - before.height_cm
    return tuple(
        replace(
            e,
            x_cm=e.x_cm + right,
            y_cm=e.y_cm + back,
            height_cm=changed.held("height_cm", e.height_cm + up),
            ppf_umol_s=changed.held("ppf_umol_s", e.ppf_umol_s * factor),
        )
        for e in emitters
    )


def likeness(emitters: Sequence[Emitter], hang: Hang) -> tuple[object, ...]:
    """Alike for lamps whose light differs by no more than a factor when hung at one place."""
    flux = max(sum(e.ppf_umol_s for e in emitters), DARK)
    return tuple(
        (
            e.shape,
            round(e.x_cm - hang.x_cm, 3),
            round(e.y_cm - hang.y_cm, 3),
            round(e.height_cm, 3),
            round(e.ppf_umol_s / flux, 4),
            (e.beam_deg, e.length_cm, e.side_cm, e.along, e.tilt_deg, e.toward_deg),
            (id(e.intensity), e.absorption),
        )
        for e in emitters
    )
