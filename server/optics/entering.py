"""The share of an emitter's photons that crosses the surface inside the rim.

On the surface plane a point's rays make the density I(θ) T(θ) cos³θ / H² per unit of flux. For a
given distance across one rim line the share of directions is integrated numerically: rays at
(θ, φ) from every piece of the lamp, each weighted by its solid angle, kept where they land inside.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.interface import into_water
from server.optics.kernel import strength
from server.optics.lean import Leaning
from server.optics.openings import openings
from server.optics.photometry import IntensityTable, cosine_power
from server.optics.sources import beam_of, leaning_pieces, leans_with_size
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]

_FINE, _COARSE = (400, 360), (200, 180)
"""Rings and turns of the rays of a level face, and of each piece of a leaning one."""

_LEANING_PIECES = 6


@lru_cache(maxsize=1024)
def entering_share(tank: Tank, water: Water, emitter: Emitter) -> float:
    """Part of this emitter's photons that crosses into the water, 0–1.

    Along each ray's direction a tube or square spreads its landing points evenly over its own
    size, so the part in an opening is the overlap of two stretches along x times that along y.
    A leaning face is summed over pieces, each at its own height.
    """
    if leans_with_size(emitter):
        counts = tuple(_LEANING_PIECES if size > 0.0 else 1 for size in emitter.size_cm)
        placed = leaning_pieces(emitter, (counts[0], counts[1]))
        shares = [
            _point_share(tank, water, _piece(emitter, x, y, height), _COARSE)
            for x, y, height in placed
        ]
        return tank.lid * float(np.mean(shares))
    return tank.lid * _point_share(tank, water, emitter, _FINE)


def _piece(emitter: Emitter, x_cm: float, y_cm: float, height_cm: float) -> Emitter:
    return replace(
        emitter, shape="point", x_cm=x_cm, y_cm=y_cm, height_cm=height_cm,
        length_cm=None, side_cm=None,
    )  # fmt: skip


def _point_share(tank: Tank, water: Water, emitter: Emitter, grid: tuple[int, int]) -> float:
    """Share for a face that is level (or a point), the pane paid and the lid not yet."""
    theta, ring, lens = _rings(emitter, tank, water, grid[0])
    phi = (np.arange(grid[1]) + 0.5) * 2.0 * np.pi / grid[1]
    radius = emitter.height_cm * np.tan(theta)[:, None]
    x, y = emitter.x_cm + radius * np.cos(phi), emitter.y_cm + radius * np.sin(phi)
    long, wide = emitter.size_cm
    inside = np.zeros_like(x)
    for one in openings(tank):
        inside += _overlap(x, long, one.left_cm, one.right_cm) * _overlap(
            y, wide, one.front_cm, one.back_cm
        )
    if lens is not None:
        inside *= lens.per_flux(np.degrees(theta)[:, None], np.degrees(phi)[None, :])
    return 2.0 * np.pi * float(ring @ inside.mean(axis=1))


def _rings(
    emitter: Emitter, tank: Tank, water: Water, count: int
) -> tuple[Floats, Floats, IntensityTable | Leaning | None]:
    """Middle angle of each ring of rays, what it passes per unit of flux and per 2π, and the light
    that turns with φ if any does.

    Rings are thin within the beam and out towards grazing rays, evenly in asinh(tan θ / width);
    rays that land beyond the far rim are left out.
    """
    beam = beam_of(emitter)
    narrow = 0.5
    if isinstance(beam, float | int):
        narrow = float(np.clip(1.0 / np.sqrt(1.0 + cosine_power(beam)), 1e-2, 0.5))
    away = abs(emitter.x_cm) + abs(emitter.y_cm) + sum(emitter.size_cm)
    furthest = (away + tank.length_cm + tank.width_cm) / emitter.height_cm / narrow
    edges = np.arctan(narrow * np.sinh(np.linspace(0.0, np.arcsinh(furthest), count + 1)))
    theta = (edges[1:] + edges[:-1]) / 2.0
    cosine = np.cos(theta)
    level, lens = strength(beam, cosine)
    passed = into_water(cosine, n_water=water.refractive_index, cover=tank.cover)
    return theta, np.diff(-np.cos(edges)) * level * passed, lens


def _overlap(middle: Floats, size_cm: float, low_cm: float, high_cm: float) -> Floats:
    """Share of the stretch of size_cm round each middle that lies between two edges."""
    if size_cm <= 0.0:
        return ((middle >= low_cm) & (middle <= high_cm)).astype(np.float64)
    low = np.maximum(middle - size_cm / 2.0, low_cm)
    high = np.minimum(middle + size_cm / 2.0, high_cm)
    return np.asarray(np.maximum(high - low, 0.0) / size_cm)
