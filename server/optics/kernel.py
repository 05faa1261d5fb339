"""The light of one emitting point on a level plane, as tables over the distance from its foot.

Light leaves a point at the height H above the water at the angle θ to the vertical, passes the
surface, goes on at θ′ (sin θ = n sin θ′) and meets the level at depth z at the distance

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
from server.optics.lean import Leaning
from server.optics.photometry import IntensityTable, cosine_power
from server.optics.tank import Water

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Absorption = tuple[tuple[float, float], ...]
Beam = float | IntensityTable | Leaning
"""A beam angle [°] or a measured table, either of them leaning or straight down."""

SQ_CM_PER_SQ_M = 1e4

_FINENESS = 400
"""Steps of a table within the width of its peak; values are taken at the nearest step."""

_ENTRIES = (2048, 20000)
_RAYS = 2000


@dataclass(frozen=True, kw_only=True)
class KernelKey:
    """All that the tables depend on.

    reach_cm: the furthest distance looked up. blur_sq_cm: mean variance along x and y of the
    places the light is averaged over (within a cell, within a piece of a lamp).
    """

    height_cm: float
    depth_cm: float
    beam: Beam
    refractive_index: float
    absorption: Absorption
    cover: bool
    reach_cm: float
    blur_sq_cm: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Kernel:
    """Tables; entry k stands for the distance k / steps_per_cm, further ones for the last.

    ppfd: on a level plane [µmol m⁻² s⁻¹ per µmol s⁻¹ of the whole emitter]. Where the emitter's
        light turns with φ: per sr⁻¹ of its intensity, and `turning` is that table or lens.
    entry: where the ray crossed the surface, as a share of the distance from foot to target.
    entry_bend: (d crossing / d target − entry) / r² [cm⁻²].
    sine_over_r, tangent_over_r: of θ′, divided by the distance [cm⁻¹].
    secant: 1 / cos θ′, the path through the water per unit of depth.
    theta_deg: angle in air.
    stretch: ∂²E/∂x² − ∂²E/∂y² is this times (x² − y²); for places spread more along one axis.
    """

    steps_per_cm: float
    ppfd: Singles
    entry: Singles
    entry_bend: Singles
    sine_over_r: Singles
    tangent_over_r: Singles
    secant: Singles
    theta_deg: Singles
    stretch: Singles
    turning: IntensityTable | Leaning | None

    @property
    def last(self) -> int:
        return int(self.ppfd.size - 1)


def peak_width_cm(beam: Beam, *, height_cm: float, depth_cm: float, water: Water) -> float:
    """Distance over which the light of a point falls off at a depth, roughly [cm].

    (H + z/n) times a factor for beams narrower than a Lambertian's.
    """
    power = max(power_of(beam), 1.0)
    distance = height_cm + depth_cm / water.refractive_index
    return float(distance * 2.0 / np.sqrt(power + 3.0))


@lru_cache(maxsize=128)
def power_of(beam: Beam) -> float:
    """Cosine power of a beam; of a measured table that of its beam, at least so fine as 75°."""
    if isinstance(beam, Leaning):
        return power_of(beam.lens)
    if isinstance(beam, IntensityTable):
        return max(cosine_power(float(np.clip(beam.mean_beam_deg, 5.0, 170.0))), 3.0)
    return cosine_power(beam)


@lru_cache(maxsize=256)
def kernel(key: KernelKey) -> Kernel:
    """Tables for one point over one level; under 1 ms when new, then remembered."""
    height, depth, n = key.height_cm, key.depth_cm, key.refractive_index
    width = peak_width_cm(
        key.beam, height_cm=height, depth_cm=depth, water=Water(refractive_index=n)
    )
    entries = int(np.clip(_FINENESS * key.reach_cm / width, *_ENTRIES))
    r = np.linspace(0.0, key.reach_cm, entries)
    tan_air = _tangent_at(key, r)
    cos_air = 1.0 / np.sqrt(1.0 + tan_air**2)
    sin_air = tan_air * cos_air
    sin_water = sin_air / n
    cos_water = np.sqrt(np.maximum(1.0 - sin_water**2, 1e-12))
    slope = height / cos_air**2 + depth * cos_air / (n * cos_water**3)
    at_foot = height + depth / n
    sine_over_r = _per_distance(sin_air, r, 1.0 / at_foot)
    level, turning = strength(key.beam, cos_air)
    passed = into_water(cos_air, n_water=n, cover=key.cover)
    left = what_is_left(key.absorption, depth / cos_water)
    ppfd = SQ_CM_PER_SQ_M * level * passed * left * sine_over_r / slope
    entry = height * sine_over_r / cos_air
    bend = _per_distance(height / cos_air**2 / slope - entry, r**2, 0.0)
    first, second = _slopes(r, ppfd)
    spread = key.blur_sq_cm / 2.0 * (second + first)
    return Kernel(
        steps_per_cm=(entries - 1) / key.reach_cm,
        ppfd=(ppfd + np.clip(spread, -ppfd / 3.0, ppfd / 3.0)).astype(np.float32),
        entry=entry.astype(np.float32),
        entry_bend=bend.astype(np.float32),
        sine_over_r=(sine_over_r / n).astype(np.float32),
        tangent_over_r=(sine_over_r / n / cos_water).astype(np.float32),
        secant=(1.0 / cos_water).astype(np.float32),
        theta_deg=np.degrees(np.arctan(tan_air)).astype(np.float32),
        stretch=_per_distance(second - first, r**2, 0.0).astype(np.float32),
        turning=turning,
    )


def what_is_left(absorption: Absorption, path_cm: Floats) -> Floats:
    """Share of the light that is left after a path through the water: Σ share exp(−a path)."""
    left = np.zeros_like(path_cm)
    for share, per_m in absorption:
        left += share * np.exp(-per_m / 100.0 * path_cm)
    return left


def _tangent_at(key: KernelKey, r: Floats) -> Floats:
    """Tangent of the angle in air of the ray that lands at each distance: r(θ) turned round."""
    rays = np.linspace(0.0, np.arcsinh(1.01 * (key.reach_cm + 1.0) / key.height_cm), _RAYS)
    tan_air = np.sinh(rays)
    sin_water = np.tanh(rays) / key.refractive_index
    tan_water = sin_water / np.sqrt(np.maximum(1.0 - sin_water**2, 1e-12))
    lands = key.height_cm * tan_air + key.depth_cm * tan_water
    return np.sinh(np.interp(r, lands, rays))


def _per_distance(values: Floats, distance: Floats, at_foot: float) -> Floats:
    """values / distance, with the limit given for the foot itself."""
    found = np.full_like(values, at_foot)
    np.divide(values, distance, out=found, where=distance > 1e-9)
    return found


def strength(beam: Beam, cos_air: Floats) -> tuple[Floats, IntensityTable | Leaning | None]:
    """Intensity per unit of flux [sr⁻¹] along the rays, or 1 and the light that turns with φ."""
    if isinstance(beam, Leaning):
        return np.ones_like(cos_air), beam
    if not isinstance(beam, IntensityTable):
        power = cosine_power(beam)
        return (power + 1.0) / (2.0 * np.pi) * cos_air**power, None
    if beam.phi_deg.size == 1:
        return beam.per_flux(np.degrees(np.arccos(cos_air)), 0.0), None
    return np.ones_like(cos_air), beam


def _slopes(r: Floats, ppfd: Floats) -> tuple[Floats, Floats]:
    """E′/r and E″ on the even steps of r.

    The mean over places of variance v along x and y is E + v/2 (E″ + E′/r), the start of its
    Taylor series. Callers hold the change within a third of the value, so that a table too sharp
    for its square stays positive; and cut such squares smaller first.
    """
    step = r[1]
    edge = np.concatenate([[ppfd[1]], ppfd, [ppfd[-1]]])
    second = (edge[2:] - 2.0 * ppfd + edge[:-2]) / step**2
    first = _per_distance((edge[2:] - edge[:-2]) / (2.0 * step), r, float(second[0]))
    first[-1], second[-1] = first[-2], second[-2]
    return first, second
