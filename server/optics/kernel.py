"""The light of one emitting point on a level plane, as tables over the distance from its foot.

Light leaves a point at `height_cm` above the water at the angle θ to the vertical, passes the
surface, goes on at θ′ (sin θ = n sin θ′) and meets the level `depth_cm` at the distance

    r(θ) = H tan θ + z tan θ′.

The photons between θ and θ + dθ land on a ring of area 2π r dr, so the plane receives

    E(r) = I(θ) T(θ) A(θ′) sin θ / (r · |dr/dθ|),   dr/dθ = H / cos²θ + z cos θ / (n cos³θ′)

with T what passes the surface (and a pane) and A = Σ shareₖ exp(−aₖ z / cos θ′) what the water
leaves. Unfolding mirrors keeps every ray straight, so the same tables serve light that walls
have returned. Source: photon conservation in a thin ring of rays (flux tube), derived; checked
in the tests against the published closed forms and brute-force fields.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.interface import into_water
from server.optics.photometry import IntensityTable, cosine_power

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

ENTRIES = 16384
"""Steps of the tables. Values are taken at the nearest step, without interpolation."""

_RAYS = 3000
SQ_CM_PER_SQ_M = 1e4


@dataclass(frozen=True, kw_only=True)
class KernelKey:
    """All that the tables depend on. `beam` is a beam angle [°] or a measured table."""

    height_cm: float
    depth_cm: float
    beam: float | IntensityTable
    refractive_index: float
    absorption: tuple[tuple[float, float], ...]
    cover: bool
    reach_cm: float
    blur_cm: float = 0.0
    """Side of the square over which the table is averaged (a cell, a piece of a lamp)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Kernel:
    """Tables with ENTRIES values each; entry k stands for the distance k / steps_per_cm.

    ppfd: on a level plane per unit of intensity [µmol m⁻² s⁻¹ per µmol s⁻¹ of the whole emitter].
        Where the emitter has a measured table that turns with φ, without its intensity.
    entry: where the ray crossed the surface, as a share of the distance from foot to target.
    entry_slope: d(crossing distance)/d(target distance).
    sine_over_r, tangent_over_r: of θ′, divided by the distance [cm⁻¹].
    theta_deg: angle in air; used with tables that turn with φ.
    """

    steps_per_cm: float
    ppfd: Singles
    entry: Singles
    entry_slope: Singles
    sine_over_r: Singles
    tangent_over_r: Singles
    theta_deg: Singles
    turning: IntensityTable | None


@lru_cache(maxsize=512)
def kernel(key: KernelKey) -> Kernel:
    """Tables for one point over one level; about 1 ms when new, then remembered."""
    height, depth, n = key.height_cm, key.depth_cm, key.refractive_index
    tan_air = _tangents(key)
    cos_air = 1.0 / np.sqrt(1.0 + tan_air**2)
    sin_air = tan_air * cos_air
    sin_water = sin_air / n
    cos_water = np.sqrt(np.maximum(1.0 - sin_water**2, 1e-12))
    tan_water = sin_water / cos_water
    r = height * tan_air + depth * tan_water
    slope = height / cos_air**2 + depth * cos_air / (n * cos_water**3)
    at_foot = height + depth / n
    near = r < 1e-9 * at_foot
    safe_r = np.where(near, 1.0, r)
    thinning = np.where(near, 1.0 / at_foot, sin_air / safe_r) / slope
    strength, turning = _strength(key.beam, cos_air)
    passed = into_water(cos_air, n_water=n, cover=key.cover)
    ppfd = SQ_CM_PER_SQ_M * strength * passed * _left(key.absorption, depth / cos_water) * thinning
    ppfd = _averaged(r, ppfd, key.blur_cm)
    share = np.where(near, height / at_foot, height * tan_air / safe_r)
    grid = np.linspace(0.0, key.reach_cm, ENTRIES)

    def table(values: Floats) -> Singles:
        return np.interp(grid, r, values).astype(np.float32)

    return Kernel(
        steps_per_cm=(ENTRIES - 1) / key.reach_cm,
        ppfd=table(ppfd),
        entry=table(share),
        entry_slope=table(height / cos_air**2 / slope),
        sine_over_r=table(np.where(near, 1.0 / (n * at_foot), sin_water / safe_r)),
        tangent_over_r=table(np.where(near, 1.0 / (n * at_foot), tan_water / safe_r)),
        theta_deg=table(np.degrees(np.arctan(tan_air))),
        turning=turning,
    )


def _tangents(key: KernelKey) -> Floats:
    """Tangents of the rays' angles in air: dense within the beam, out to beyond the reach."""
    furthest = 1.05 * (key.reach_cm + 1.0) / key.height_cm
    narrow = 0.2
    if not isinstance(key.beam, IntensityTable):
        narrow = float(np.clip(1.0 / np.sqrt(1.0 + cosine_power(key.beam)), 1e-3, 0.5))
    return np.asarray(narrow * np.sinh(np.linspace(0.0, np.arcsinh(furthest / narrow), _RAYS)))


def _strength(
    beam: float | IntensityTable, cos_air: Floats
) -> tuple[Floats, IntensityTable | None]:
    """Intensity per unit of flux [sr⁻¹] along the rays, or 1 and the table that turns with φ."""
    if not isinstance(beam, IntensityTable):
        power = cosine_power(beam)
        return (power + 1.0) / (2.0 * np.pi) * cos_air**power, None
    if beam.phi_deg.size == 1:
        return beam.per_flux(np.degrees(np.arccos(cos_air)), 0.0), None
    return np.ones_like(cos_air), beam


def _left(absorption: tuple[tuple[float, float], ...], path_cm: Floats) -> Floats:
    """Share of the light that is left after a path through the water."""
    left = np.zeros_like(path_cm)
    for share, per_m in absorption:
        left += share * np.exp(-per_m / 100.0 * path_cm)
    return left


def _averaged(r: Floats, ppfd: Floats, blur_cm: float) -> Floats:
    """Average over a small square: f + b²/24 ∇²f, the second term of its Taylor series.

    With s = r², ∇²f = 4 (f′ + s f″). The step is held within a third so that a table too sharp
    for its square stays positive; callers cut such squares into smaller ones.
    """
    if blur_cm <= 0.0:
        return ppfd
    s = r**2
    first = np.gradient(ppfd, s)
    bend = 4.0 * (first + s * np.gradient(first, s))
    change = blur_cm**2 / 24.0 * bend
    return ppfd + np.clip(change, -ppfd / 3.0, ppfd / 3.0)
