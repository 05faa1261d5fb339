"""What flat boundaries do to light: water's surface, the walls' glass, a cover pane.

Unpolarised Fresnel throughout. Glass sheets are incoherent slabs: all inner reflections are
summed as energies, since a pane is far thicker than light's coherence length.
Source: the Fresnel equations (Born & Wolf, Principles of Optics, 1.5); checked against Jerlov,
Optical Oceanography, Table XVI in the tests.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.optics.tank import GLASS_INDEX

Floats = NDArray[np.float64]


def polarised_reflectance(cosine: ArrayLike, *, n_from: float, n_to: float) -> Floats:
    """Fresnel reflectance for light polarised across and along the plane of incidence.

    cosine: of the angle to the normal on the incoming side, any shape. Returns shape (2, …).
    Total reflection gives exactly 1.
    """
    cos_in = np.clip(np.asarray(cosine, dtype=np.float64), 0.0, 1.0)
    sin2_out = (n_from / n_to) ** 2 * (1.0 - cos_in**2)
    cos_out = np.sqrt(np.maximum(1.0 - sin2_out, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        across = (n_from * cos_in - n_to * cos_out) / (n_from * cos_in + n_to * cos_out)
        along = (n_to * cos_in - n_from * cos_out) / (n_to * cos_in + n_from * cos_out)
    both = np.stack([across, along]) ** 2
    # Equal media at grazing incidence leave 0/0: there is no boundary, nothing is reflected.
    both = np.nan_to_num(both, nan=0.0 if n_from == n_to else 1.0)
    return np.where(sin2_out >= 1.0, 0.0 if n_from == n_to else 1.0, both)


def reflectance(cosine: ArrayLike, *, n_from: float, n_to: float) -> Floats:
    """Unpolarised Fresnel reflectance at one flat boundary, same shape as cosine."""
    return np.asarray(polarised_reflectance(cosine, n_from=n_from, n_to=n_to).mean(axis=0))


def slab_reflectance(
    cosine: ArrayLike, *, n_from: float, n_beyond: float, n_slab: float = GLASS_INDEX
) -> Floats:
    """Reflectance of a clear sheet between two media, all inner reflections summed.

    R = R₁ + (1−R₁)² R₂ / (1 − R₁R₂) for each polarisation, then averaged.
    """
    cos_in = np.clip(np.asarray(cosine, dtype=np.float64), 0.0, 1.0)
    sin2_slab = (n_from / n_slab) ** 2 * (1.0 - cos_in**2)
    cos_slab = np.sqrt(np.maximum(1.0 - sin2_slab, 0.0))
    first = polarised_reflectance(cos_in, n_from=n_from, n_to=n_slab)
    second = polarised_reflectance(cos_slab, n_from=n_slab, n_to=n_beyond)
    with np.errstate(divide="ignore", invalid="ignore"):
        through = (1.0 - first) ** 2 * second / (1.0 - first * second)
    both = first + np.nan_to_num(through, nan=0.0)
    both = np.where((first >= 1.0) | (second >= 1.0), 1.0, both)
    return np.asarray(np.clip(both, 0.0, 1.0).mean(axis=0))


def into_water(cosine: ArrayLike, *, n_water: float, cover: bool) -> Floats:
    """Share of light that passes from air into the water at one angle, cover pane included.

    cosine: of the angle to the vertical in air. The pane only transmits; light the water sends
    back up to it is lost.
    """
    passed = 1.0 - reflectance(cosine, n_from=1.0, n_to=n_water)
    if cover:
        passed = passed * (1.0 - slab_reflectance(cosine, n_from=1.0, n_beyond=1.0))
    return np.asarray(passed)


def under_surface(cosine: ArrayLike, *, n_water: float) -> Floats:
    """Reflectance of the water's surface seen from below, total reflection included."""
    return reflectance(cosine, n_from=n_water, n_to=1.0)


def wall_reflectance(cosine: ArrayLike, *, n_water: float) -> Floats:
    """Reflectance of a clear wall seen from the water: water | glass | air."""
    return slab_reflectance(cosine, n_from=n_water, n_beyond=1.0)


def critical_angle_deg(n_water: float) -> float:
    """Angle to the normal in water beyond which a surface to air reflects all [°]."""
    return math.degrees(math.asin(min(1.0, 1.0 / n_water)))


@lru_cache(maxsize=64)
def diffuse_reflectance(n_from: float, n_to: float) -> float:
    """Reflectance for light that comes evenly from a half space: ∫ R(µ) 2µ dµ.

    Gauss–Legendre in µ², split at the critical angle where the integrand has its corner.
    """
    nodes, weights = np.polynomial.legendre.leggauss(200)
    corner = max(0.0, 1.0 - (n_to / n_from) ** 2)
    total = corner
    # Substituting µ² = corner + (1−corner) t² smooths the square root at the corner.
    t = (nodes + 1.0) / 2.0
    mu = np.sqrt(corner + (1.0 - corner) * t**2)
    total += (1.0 - corner) * float(
        np.sum(weights / 2.0 * 2.0 * t * reflectance(mu, n_from=n_from, n_to=n_to))
    )
    return total
