"""How wide one lamp lights a depth: where its light falls to half of its highest.

Walls and floor are left out: this is the lamp's own footprint, as over open water.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.field import at_points
from server.optics.tank import Tank, Walls, Water

Floats = NDArray[np.float64]

_SIDE_CM = 600.0
_STEPS = 121


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """peak_ppfd: the highest on the lamp's two middle lines. along_cm, across_cm: full widths
    within which they stay above half of it."""

    peak_ppfd: float
    along_cm: float
    across_cm: float


def footprint(
    emitters: Sequence[Emitter], water: Water, *, depth_cm: float, height_cm: float
) -> Footprint:
    """Half-value footprint of a lamp hung with its middle over the origin, long side along x.

    depth_cm: of the level looked at. height_cm: of the lamp, which sets how far to look.
    Raises ValueError where no light arrives.
    """
    reach = min(_SIDE_CM / 2 - 1, 20 + 3.0 * (height_cm + depth_cm) + _half_size(emitters))
    steps = np.linspace(0.0, reach, _STEPS)
    moved = tuple(_moved(emitter) for emitter in emitters)
    tank = _open_water(depth_cm)
    middle = np.full(steps.shape, _SIDE_CM / 2)
    along = _ppfd(tank, water, moved, middle + steps, middle, depth_cm)
    across = _ppfd(tank, water, moved, middle, middle + steps, depth_cm)
    peak = float(max(along.max(), across.max()))
    if peak <= 0:
        raise ValueError("no light of this lamp reaches that depth")
    return Footprint(
        peak_ppfd=peak,
        along_cm=2 * _edge(steps, along, peak / 2),
        across_cm=2 * _edge(steps, across, peak / 2),
    )


def _open_water(depth_cm: float) -> Tank:
    dark = Walls(left="black", right="black", front="black", back="black")
    return Tank(
        length_cm=_SIDE_CM,
        width_cm=_SIDE_CM,
        depth_cm=depth_cm + 1.0,
        walls=dark,
        floor_albedo=0.0,
    )


def _ppfd(
    tank: Tank, water: Water, emitters: tuple[Emitter, ...], x: Floats, y: Floats, depth: float
) -> Floats:
    return np.asarray(
        at_points(tank, water, emitters, x_cm=x, y_cm=y, depth_cm=np.full(x.shape, depth))
    )


def _moved(emitter: Emitter) -> Emitter:
    """The emitter over the middle of the open water instead of the origin."""
    facts = {name: getattr(emitter, name) for name in emitter.__dataclass_fields__}
    return Emitter(
        **(facts | {"x_cm": emitter.x_cm + _SIDE_CM / 2, "y_cm": emitter.y_cm + _SIDE_CM / 2})
    )


def _half_size(emitters: Sequence[Emitter]) -> float:
    return max(max(abs(e.x_cm), abs(e.y_cm)) + max(e.size_cm) / 2 for e in emitters)


def _edge(steps: Floats, level: Floats, half: float) -> float:
    """Outermost place at or above half, refined between steps; 0 where the line stays below."""
    above = np.flatnonzero(level >= half)
    if above.size == 0:
        return 0.0
    last = int(above[-1])
    if last + 1 == steps.size:
        return float(steps[-1])
    share = (level[last] - half) / (level[last] - level[last + 1])
    return float(steps[last] + share * (steps[last + 1] - steps[last]))
