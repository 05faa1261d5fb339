"""How high to hang the lights over a tank, and how strong to run them.

Light adds up, so for one height the field is worked out once at full power and scaled. A cell
that gets e at full power is in the range low–high for every power between low/e and high/e; the
best power lies where most of these stretches overlap, found by sorting their ends.

The light of a cell changes smoothly with the height, roughly as 1/(H + z/n)², so it is worked out
at heights spaced evenly in ln(H + z/n) and read between them by a cubic; the heights between which
the advice is settled are worked out by themselves. The light of few small lamps has sharp edges,
where a cubic would not do, and is quick: it is worked out at every height.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.field import planes
from server.optics.sources import pieces_at_most
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]

MAX_HEIGHTS = 121
"""Heights are tried 1 cm apart, or further apart where that would be more than this many."""

NEAR_BEST = 0.01
"""Heights whose share lies within one percentage point of the best count as equally good."""

POWER_STEP = 1e-4

_CONTESTED = 3
_DOUBT = 0.005
"""Heights worked out by themselves: so many of the best, and those this near to counting."""

_FEW_PIECES = 12
"""Lamps of no more pieces than these are worked out at every height."""

_NODE_STEP = 0.13
"""Distance in ln(H + z/n) between heights that are worked out."""


@dataclass(frozen=True, kw_only=True)
class Target:
    """The light wanted: low_ppfd to high_ppfd [µmol m⁻² s⁻¹] on all cells of depths_cm."""

    low_ppfd: float
    high_ppfd: float
    depths_cm: tuple[float, ...]

    def __post_init__(self) -> None:
        if not 0.0 <= self.low_ppfd < self.high_ppfd < math.inf:
            raise ValueError("low_ppfd must be at least 0 and below high_ppfd")
        if not self.depths_cm:
            raise ValueError("depths_cm needs at least one depth")


@dataclass(frozen=True, kw_only=True)
class HeightChoice:
    """The best power at one height and the light it gives on the target's cells."""

    height_cm: float
    power: float
    share_in_range: float
    share_below: float
    share_above: float
    min_ppfd: float
    max_ppfd: float
    mean_ppfd: float

    @property
    def uniformity(self) -> float:
        return self.min_ppfd / self.mean_ppfd if self.mean_ppfd > 0.0 else 0.0


@dataclass(frozen=True, kw_only=True)
class MountingAdvice:
    """The best height and power, and the best power at every height tried."""

    best: HeightChoice
    curve: tuple[HeightChoice, ...]

    @property
    def height_cm(self) -> float:
        return self.best.height_cm

    @property
    def power(self) -> float:
        return self.best.power

    @property
    def share_in_range(self) -> float:
        return self.best.share_in_range

    @property
    def min_ppfd(self) -> float:
        return self.best.min_ppfd

    @property
    def max_ppfd(self) -> float:
        return self.best.max_ppfd

    @property
    def mean_ppfd(self) -> float:
        return self.best.mean_ppfd


def mounting_height(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    target: Target,
    height_range_cm: tuple[float, float],
    power_range: tuple[float, float] = (0.0, 1.0),
    headroom_cm: float | None = None,
    cell_cm: float = 2.0,
) -> MountingAdvice:
    """The height and power that put most cells of the target's depths in range.

    emitters: at full power; their own height_cm is not looked at, all hang at the height tried.
    height_range_cm: the lamp's lowest and highest allowed place over the water; headroom_cm caps
        it where the room above the water is known. power_range: within 0–1.
    The best is the highest share; among heights within one percentage point of it the one that
    needs the least power, then the more even. Raises ValueError for ranges that hold nothing.
    """
    _check_power(power_range)
    heights = heights_tried(height_range_cm, headroom_cm)

    def light(height_cm: float) -> Floats:
        return full_power(
            tank, water, emitters, target=target, height_cm=height_cm, cell_cm=cell_cm
        )

    def choice(height_cm: float, full: Floats) -> HeightChoice:
        return best_power(full, height_cm=height_cm, target=target, power_range=power_range)

    optical_cm = min(target.depths_cm) / water.refractive_index
    pieces = pieces_at_most(tank, water, emitters, depth_cm=min(target.depths_cm))
    step = _NODE_STEP if pieces > _FEW_PIECES else 0.0
    read = _by_height(light, heights, optical_cm, step)
    curve = [choice(height, full) for height, full in read]
    best = _settle(curve, lambda height: choice(height, light(height)))
    return MountingAdvice(best=best, curve=tuple(curve))


def _settle(curve: list[HeightChoice], exactly: Callable[[float], HeightChoice]) -> HeightChoice:
    """The best of the curve, the contested heights worked out by themselves and put into it."""
    sure: set[int] = set()

    def make_sure(k: int) -> HeightChoice:
        if k not in sure:
            curve[k] = exactly(curve[k].height_cm)
            sure.add(k)
        return curve[k]

    ranks = sorted(range(len(curve)), key=lambda k: -curve[k].share_in_range)
    most = max(make_sure(k).share_in_range for k in ranks[:_CONTESTED])
    near = [k for k in ranks if curve[k].share_in_range >= most - NEAR_BEST - _DOUBT]
    for k in sorted(near, key=lambda k: _preference(curve[k])):
        if make_sure(k).share_in_range >= most - NEAR_BEST - 1e-12:
            break
    return _best([curve[k] for k in sorted(sure)])


def _by_height(
    light: Callable[[float], Floats], heights: tuple[float, ...], optical_cm: float, step: float
) -> Iterator[tuple[float, Floats]]:
    """Each height with its light, worked out at a few of them and read between by a cubic.

    step: distance of the few in ln(H + optical), or 0 to work out every height.
    """
    place = np.log(np.array(heights) + optical_cm)
    count = max(5, int(np.ceil((place[-1] - place[0]) / step)) + 1) if step else len(heights)
    if count >= len(heights):
        yield from ((height, light(height)) for height in heights)
        return
    nodes = np.linspace(place[0], place[-1], count)
    # a height may not drift below the least by rounding
    between = np.clip(np.exp(nodes) - optical_cm, heights[0], heights[-1])
    known = np.stack([light(float(height)) for height in between])
    for height, at in zip(heights, place, strict=True):
        first = int(np.clip(np.searchsorted(nodes, at) - 2, 0, count - 4))
        near = nodes[first : first + 4]
        yield height, np.maximum(_cubic(near, float(at)) @ known[first : first + 4], 0.0)


def _cubic(nodes: Floats, at: float) -> Floats:
    """Weights of four nodes in the cubic through them, at one place (Lagrange)."""
    apart = at - nodes
    between = nodes[:, None] - nodes + np.eye(4)
    missing = np.where(np.eye(4, dtype=bool), 1.0, apart[None, :])
    return np.asarray(missing.prod(axis=1) / between.prod(axis=1))


def heights_tried(
    height_range_cm: tuple[float, float],
    headroom_cm: float | None = None,
) -> tuple[float, ...]:
    """Heights from the lowest to the highest allowed, both included [cm]."""
    low, high = height_range_cm
    if headroom_cm is not None:
        high = min(high, headroom_cm)
    if not 0.0 < low <= high < math.inf:
        raise ValueError(f"no height lies between {low:g} cm and {high:g} cm above the water")
    step = max(1.0, (high - low) / (MAX_HEIGHTS - 1))
    count = math.floor((high - low) / step + 1e-9) + 1
    tried = [low + step * k for k in range(count)]
    if high - tried[-1] > 1e-6:
        tried.append(high)
    return tuple(round(height, 4) for height in tried)


def full_power(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    target: Target,
    height_cm: float,
    cell_cm: float,
) -> Floats:
    """PPFD of all cells on the target's depths that lie in no rock, with every emitter at one
    height, shape (n,)."""
    hung = [replace(emitter, height_cm=height_cm) for emitter in emitters]
    found = planes(tank, water, hung, depths_cm=target.depths_cm, cell_cm=cell_cm)
    return np.concatenate([plane.in_water for plane in found])


def best_power(
    full: Floats, *, height_cm: float, target: Target, power_range: tuple[float, float]
) -> HeightChoice:
    """The best power for cells that get `full` [µmol m⁻² s⁻¹] at full power."""
    power = power_in_range(full, target=target, power_range=power_range)
    ppfd = power * full
    return HeightChoice(
        height_cm=height_cm,
        power=power,
        share_in_range=float(np.mean((ppfd >= target.low_ppfd) & (ppfd <= target.high_ppfd))),
        share_below=float(np.mean(ppfd < target.low_ppfd)),
        share_above=float(np.mean(ppfd > target.high_ppfd)),
        min_ppfd=float(ppfd.min()),
        max_ppfd=float(ppfd.max()),
        mean_ppfd=float(ppfd.mean()),
    )


def power_in_range(full: Floats, *, target: Target, power_range: tuple[float, float]) -> float:
    """The least power that puts the most cells in range; full: PPFD of the cells at power 1."""
    least, most = power_range
    lit = full[full > 0.0]
    if lit.size == 0:
        return least
    opens = np.sort(np.clip(target.low_ppfd / lit, least, None))
    closes = np.sort(target.high_ppfd / lit)
    tried = np.append(opens[opens <= most], (least, most))
    inside = np.searchsorted(opens, tried, side="right") - np.searchsorted(closes, tried)
    if inside.max() <= 0:
        # Nothing can be in range: as near as the lamp goes.
        return most if target.low_ppfd > most * float(lit.max()) else least
    power = float(tried[inside == inside.max()].min())
    upward = min(most, math.ceil(power / POWER_STEP) * POWER_STEP)
    kept = np.searchsorted(opens, upward, side="right") - np.searchsorted(closes, upward)
    return round(upward, 6) if kept >= inside.max() else power * (1.0 + 1e-9)


def _best(choices: Sequence[HeightChoice]) -> HeightChoice:
    most = max(choice.share_in_range for choice in choices)
    near = [one for one in choices if one.share_in_range >= most - NEAR_BEST - 1e-12]
    return min(near, key=_preference)


def _preference(choice: HeightChoice) -> tuple[float, float]:
    """The least power first, then the more even."""
    return round(choice.power, 4), -choice.uniformity


def _check_power(power_range: tuple[float, float]) -> None:
    least, most = power_range
    if not 0.0 <= least <= most <= 1.0:
        raise ValueError("power_range must rise within 0 and 1")
