"""The share of an emitter's photons that crosses the surface inside the rim.

On the surface plane a point's rays make the density I(θ) T(θ) cos³θ / H² per unit of flux. For a
given distance across one rim line the share of directions is integrated numerically: rays at
(θ, φ) from every piece of the lamp, each weighted by its solid angle, kept where they land inside.
"""

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.interface import into_water
from server.optics.kernel import strength
from server.optics.photometry import IntensityTable, cosine_power
from server.optics.sources import beam_of
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]

_RINGS = 400
_TURNS = 360


def entering_share(tank: Tank, water: Water, emitter: Emitter) -> float:
    """Part of this emitter's photons that crosses into the water, 0–1.

    Along each ray's direction a tube or square spreads its landing points evenly over its own
    size, so the part inside the rim is the overlap of two stretches along x times that along y.
    """
    theta, ring = _rings(emitter, tank, water)
    phi = (np.arange(_TURNS) + 0.5) * 2.0 * np.pi / _TURNS
    radius = emitter.height_cm * np.tan(theta)[:, None]
    long, wide = emitter.size_cm
    inside = _overlap(emitter.x_cm + radius * np.cos(phi), long, tank.length_cm)
    inside *= _overlap(emitter.y_cm + radius * np.sin(phi), wide, tank.width_cm)
    if isinstance(emitter.intensity, IntensityTable) and emitter.intensity.phi_deg.size > 1:
        inside *= emitter.intensity.per_flux(np.degrees(theta)[:, None], np.degrees(phi)[None, :])
    return 2.0 * np.pi * float(ring @ inside.mean(axis=1))


def _rings(emitter: Emitter, tank: Tank, water: Water) -> tuple[Floats, Floats]:
    """Middle angle of each ring of rays and what it passes per unit of flux and per 2π.

    Rings are thin within the beam and out towards grazing rays, evenly in asinh(tan θ / width);
    rays that land beyond the far rim are left out.
    """
    beam = beam_of(emitter)
    narrow = 0.5
    if not isinstance(beam, IntensityTable):
        narrow = float(np.clip(1.0 / np.sqrt(1.0 + cosine_power(beam)), 1e-2, 0.5))
    away = abs(emitter.x_cm) + abs(emitter.y_cm) + sum(emitter.size_cm)
    furthest = (away + tank.length_cm + tank.width_cm) / emitter.height_cm / narrow
    edges = np.arctan(narrow * np.sinh(np.linspace(0.0, np.arcsinh(furthest), _RINGS + 1)))
    theta = (edges[1:] + edges[:-1]) / 2.0
    cosine = np.cos(theta)
    level, _ = strength(beam, cosine)
    passed = into_water(cosine, n_water=water.refractive_index, cover=tank.cover)
    return theta, np.diff(-np.cos(edges)) * level * passed


def _overlap(middle: Floats, size_cm: float, extent_cm: float) -> Floats:
    """Share of the stretch of size_cm round each middle that lies within 0 … extent."""
    if size_cm <= 0.0:
        return ((middle >= 0.0) & (middle <= extent_cm)).astype(np.float64)
    low = np.maximum(middle - size_cm / 2.0, 0.0)
    high = np.minimum(middle + size_cm / 2.0, extent_cm)
    return np.asarray(np.maximum(high - low, 0.0) / size_cm)
