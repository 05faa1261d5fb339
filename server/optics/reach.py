"""Direct light at places of any depth at once, each ray's refraction solved by itself.

The tables of `kernel` hold for one depth; places scattered over many depths (animals, the faces
of rocks) are quicker one by one. With u the tangent of the angle in air a ray lands at

    r(u) = H u + z u / √(n² + (n²−1) u²),

which rises ever more slowly; Newton's method from below therefore climbs to the root and cannot
overshoot. What lands there is the kernel's E = I T A sin θ / (r |dr/dθ|) in terms of u.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.optics.kernel import SQ_CM_PER_SQ_M, Absorption, strength, what_is_left
from server.optics.openings import openings
from server.optics.shade import FEWER_RAYS, RAYS, Rays, visible_share
from server.optics.shadows import turns
from server.optics.sources import Sources
from server.optics.surface_light import passed_at
from server.optics.tank import Tank, Water
from server.optics.walls import MAX_IMAGES, Fold, folds_across, folds_along, looked_up, wall_table

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_TURNS = 5
_AT_ONCE = 60_000
_FAINT = 1e-5


@dataclass(frozen=True, kw_only=True, eq=False)
class Targets:
    """Places that receive light.

    points_cm: (n, 3). axis, looks: (n,), the axis across which each small face lies (2 for level)
    and the way it looks along it (−1 or +1; −1 is up for a level face). spread_cm: (n, 2), extent
    along x and y of the cell each stands for.
    """

    points_cm: Floats
    axis: NDArray[np.intp]
    looks: NDArray[np.intp]
    spread_cm: Floats

    @property
    def size(self) -> int:
        return int(self.points_cm.shape[0])


def level(points_cm: Floats) -> Targets:
    """Single upward-facing sensors at points_cm, shape (n, 3)."""
    count = points_cm.shape[0]
    return Targets(
        points_cm=points_cm,
        axis=np.full(count, 2),
        looks=np.full(count, -1),
        spread_cm=np.zeros((count, 2)),
    )


def light_on(
    tank: Tank,
    water: Water,
    sources: Sources,
    targets: Targets,
    absorptions: Sequence[Absorption] = (),
) -> Floats:
    """PPFD that each target gets from the lamps and by clear walls, rocks and braces in the way.

    Shape (len(absorptions), targets): once for each set of parts of the light; none given means
    the sources' own, as one row.
    """
    parts = list(absorptions) or [sources.absorption]
    total = np.zeros((len(parts), targets.size))
    size = max(1, _AT_ONCE // max(1, targets.size))
    for first in range(0, sources.x_cm.size, size):
        _add(total, tank, water, sources.part(first, first + size), targets, parts)
    return total


@dataclass(frozen=True, kw_only=True, eq=False)
class _Pairs:
    """Pairs of source and target by one imagined tank: numbers, way apart, slope u in air."""

    source: NDArray[np.intp]
    target: NDArray[np.intp]
    dx: Floats
    dy: Floats
    r: Floats
    u: Floats
    turn: tuple[int, int]
    folds: tuple[Fold, Fold]

    def some(self, kept: NDArray[Any]) -> "_Pairs":
        names = ("source", "target", "dx", "dy", "r", "u")
        return _Pairs(
            **{name: getattr(self, name)[kept] for name in names}, turn=self.turn, folds=self.folds
        )


def _add(
    total: Floats, tank: Tank, water: Water, sources: Sources, targets: Targets,
    absorptions: Sequence[Absorption],
) -> None:  # fmt: skip
    found = [
        one for folds in _images(tank, water, sources, targets)
        if (one := _pairs(tank, water, sources, targets, folds)) is not None
    ]  # fmt: skip
    if not found:
        return
    value, source, target, way = (np.concatenate([one[k] for one in found]) for k in range(4))
    value *= sources.ppf_umol_s[source]
    if tank.rocks:
        rays = np.concatenate([one[4] for one in found], axis=1)
        value *= visible_share(tank, _rays(rays, sources, targets, source, target))
    for row, absorption in zip(total, absorptions, strict=True):
        row += np.bincount(target, value * what_is_left(absorption, way), targets.size)


def _rays(rays: Floats, sources: Sources, targets: Targets, source: Places, target: Places) -> Rays:
    """Families of rays for `shade`; rays: rows of `_through_openings`."""
    rows = rays.astype(np.float32)
    spread = targets.spread_cm[target].astype(np.float32)
    lamp = [np.asarray(size, dtype=np.float32) for size in sources.piece_cm]
    points = targets.points_cm[target]
    return Rays(
        target=(rows[0], rows[1]), crossing=(rows[2], rows[3]),
        depth_cm=points[:, 2].astype(np.float32),
        cell_cm=(spread[:, 0], spread[:, 1]), piece_cm=(lamp[0], lamp[1]),
        follows=(rows[4], rows[5]), turn=turns(source, (points[:, 0], points[:, 1])),
        count=FEWER_RAYS if spread.any() else RAYS,
    )  # fmt: skip


def _images(
    tank: Tank, water: Water, sources: Sources, targets: Targets
) -> Iterator[tuple[Fold, Fold]]:
    """Every imagined tank that light can reach: how far it goes under water bounds them."""
    n, deepest = water.refractive_index, float(targets.points_cm[:, 2].max(initial=0.0))
    most = []
    for place, extent in ((sources.x_cm, tank.length_cm), (sources.y_cm, tank.width_cm)):
        way = max(float(place.max()), extent - float(place.min()), 0.0) + max(sources.piece_cm)
        sine = way / np.hypot(way, sources.height_cm) / n
        sideways = deepest * sine / np.sqrt(max(1.0 - sine**2, 1e-6))
        most.append(min(MAX_IMAGES, int(np.ceil((sideways + 1e-6) / extent))))
    for fold_x in folds_across(tank, most[0]):
        for fold_y in folds_along(tank, most[1]):
            yield fold_x, fold_y


def _pairs(
    tank: Tank, water: Water, sources: Sources, targets: Targets, folds: tuple[Fold, Fold]
) -> tuple[Floats, Places, Places, Floats, Floats] | None:
    """Pairs through one imagined tank that are lit: light per unit of flux before the water takes
    any, source, target, way through the water [cm], and rays."""
    dx = folds[0].place(targets.points_cm[:, 0])[None, :] - sources.x_cm[:, None]
    dy = folds[1].place(targets.points_cm[:, 1])[None, :] - sources.y_cm[:, None]
    turn = (folds[0].turn, folds[1].turn)
    facing = (targets.axis == 2) & (targets.looks < 0)
    facing = facing | ((targets.axis == 0) & (dx * turn[0] * targets.looks < 0.0))
    facing = facing | ((targets.axis == 1) & (dy * turn[1] * targets.looks < 0.0))
    source, target = np.nonzero(facing)
    if source.size == 0:
        return None
    dx, dy = dx[source, target], dy[source, target]
    r = np.hypot(dx, dy)
    depth = targets.points_cm[target, 2]
    u = slope_in_air(r, sources.height_cm, depth, water.refractive_index)
    pairs = _Pairs(source=source, target=target, dx=dx, dy=dy, r=r, u=u, turn=turn, folds=folds)
    share, rays = _through_openings(tank, water, sources, targets, pairs)
    lit = np.flatnonzero(share > _FAINT)
    if lit.size == 0:
        return None
    pairs = pairs.some(lit)
    value, way = _arriving(tank, water, sources, targets, pairs)
    return share[lit] * value, pairs.source, pairs.target, way, rays[:, lit]


def slope_in_air(r: Floats, height_cm: float, depth_cm: Floats, n: float) -> Floats:
    """Tangent of the angle in air of the ray that lands at the distance r, same shape.

    Begun at the greater of two slopes that cannot be too steep: r/(H + z/n), and that of a ray
    gone as far as it can under water.
    """
    excess = n * n - 1.0
    furthest = depth_cm / np.sqrt(max(excess, 1e-12))
    u = np.maximum(r / (height_cm + depth_cm / n), (r - furthest) / height_cm)
    for _ in range(_TURNS):
        bent = n * n + excess * u * u
        root = np.sqrt(bent)
        lands = height_cm * u + depth_cm * u / root
        u = u + (r - lands) / (height_cm + depth_cm * n * n / (bent * root))
    return np.asarray(u)


def _through_openings(
    tank: Tank, water: Water, sources: Sources, targets: Targets, pairs: _Pairs
) -> tuple[Floats, Floats]:
    """Share of each pair's rays that cross open water, and the rays as rows for `_rays`."""
    n, height = water.refractive_index, sources.height_cm
    depth = targets.points_cm[pairs.target, 2]
    bent = n * n + (n * n - 1.0) * pairs.u**2
    entry = height / (height + depth / np.sqrt(bent))
    moved = height / (height + depth * n * n / bent**1.5)
    spread = targets.spread_cm[pairs.target]
    rows, shares, wide = [], [], []
    for axis, (place, apart) in enumerate(((sources.x_cm, pairs.dx), (sources.y_cm, pairs.dy))):
        piece = sources.piece_cm[axis]
        # Along the ray a step of the target moves the crossing by `moved`, across it by `entry`.
        towards = (apart / np.maximum(pairs.r, 1e-9)) ** 2
        follows = moved * towards + entry * (1.0 - towards)
        here = place[pairs.source]
        wide.append(follows * spread[:, axis] + (1.0 - follows) * piece)
        rows.append((here + apart, here + entry * apart, follows))
    for one in openings(tank):
        shares.append(
            _between(rows[0][1], wide[0], one.left_cm, one.right_cm)
            * _between(rows[1][1], wide[1], one.front_cm, one.back_cm)
        )
    open_share = np.sum(shares, axis=0) if shares else np.zeros(pairs.r.size)
    return open_share, np.array([row[k] for k in range(3) for row in rows])


def _between(middle: Floats, spread: Floats, low: float, high: float) -> Floats:
    """Share of a stretch round each middle that lies between two edges."""
    wide = np.maximum(spread, 1e-3)
    from_low = np.clip((middle - low) / wide + 0.5, 0.0, 1.0)
    return np.asarray(from_low - np.clip((middle - high) / wide + 0.5, 0.0, 1.0))


def _arriving(
    tank: Tank, water: Water, sources: Sources, targets: Targets, pairs: _Pairs
) -> tuple[Floats, Floats]:
    """Light per unit of flux on each pair's target by an open way, walls paid, and the way through
    the water [cm]."""
    n, height, u = water.refractive_index, sources.height_cm, pairs.u
    depth = targets.points_cm[pairs.target, 2]
    bent = n * n + (n * n - 1.0) * u * u
    root = np.sqrt(bent)
    cos_air = 1.0 / np.sqrt(1.0 + u * u)
    per_r = 1.0 / (height + depth / root)
    value = per_r * cos_air**3 / (height + depth * n * n / (bent * root)) * SQ_CM_PER_SQ_M
    value *= passed_at(cos_air, water.refractive_index, tank.cover)
    cos_water = root * cos_air / n
    level, lens = strength(sources.beam, cos_air)
    value *= level
    if lens is not None:
        value *= lens.per_flux(np.degrees(np.arctan(u)), np.degrees(np.arctan2(pairs.dy, pairs.dx)))
    sine_per_r = u * cos_air / n / np.maximum(pairs.r, 1e-9)
    for axis, apart in enumerate((pairs.dx, pairs.dy)):
        fold = pairs.folds[axis]
        if fold.bounces:
            back = looked_up(wall_table(n), np.abs(apart) * sine_per_r)
            value *= back**fold.bounces * fold.film
        sideways = targets.axis[pairs.target] == axis
        if sideways.any():
            value[sideways] *= (np.abs(apart) * sine_per_r / cos_water)[sideways]
    return value, depth / cos_water
