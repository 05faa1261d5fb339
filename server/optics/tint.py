"""How the colour of the water thins a lamp's light: pure water plus yellow substance.

a(λ) = a_w(λ) + a_440 exp(−S (λ − 440)), with a_w of pure water (Pope & Fry 1997) and dissolved
yellow substance after Bricaud, Morel & Prieur 1981 (Limnol. Oceanogr. 26:43), S = 0.014 nm⁻¹.
Scattering is left out: a reef tank's water is filtered, and its path is short.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.optics import table
from server.optics.spectrum import WAVELENGTH_NM, Spectrum, transmitted_share

Floats = NDArray[np.float64]

YELLOW_SLOPE_PER_NM = 0.014
"""Slope S of the yellow substance's exponential [nm⁻¹]; measured waters spread 0.013–0.020."""
YELLOW_LIMITS_PER_M = (0.0, 10.0)
SLOPE_LIMITS_PER_NM = (0.005, 0.03)


def _within(name: str, value: float, limits: tuple[float, float]) -> None:
    low, high = limits
    if not low <= value <= high:
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value:g}")


@dataclass(frozen=True, kw_only=True)
class Tint:
    """Colour of one water.

    yellow_440_per_m: absorption of the yellow substance at 440 nm [m⁻¹].
    slope_per_nm: how fast it falls towards the red [nm⁻¹].
    Raises ValueError outside the limits.
    """

    yellow_440_per_m: float
    slope_per_nm: float = YELLOW_SLOPE_PER_NM

    def __post_init__(self) -> None:
        _within("yellow_440_per_m", self.yellow_440_per_m, YELLOW_LIMITS_PER_M)
        _within("slope_per_nm", self.slope_per_nm, SLOPE_LIMITS_PER_NM)


TINTS: Mapping[str, Tint] = {
    "polished": Tint(yellow_440_per_m=0.02),
    "usual": Tint(yellow_440_per_m=0.10),
    "yellowed": Tint(yellow_440_per_m=0.50),
}
"""Waters a keeper can tell apart. Estimates: no published yellow substance of closed tanks was
found. 0.02 m⁻¹ lies near a clear ocean coast, 0.1–1 m⁻¹ is usual on coasts."""


def pure_water_per_m(wavelength_nm: ArrayLike) -> Floats:
    """Absorption of pure water [m⁻¹], straight lines in the table, held beyond 380–730 nm.

    Pope & Fry 1997, Applied Optics 36(33):8710, Table 3. In violet and blue newer work finds less
    (Mason, Cone & Fry 2016): 0.002 instead of 0.007 m⁻¹ at 400 nm, nothing at tank depths.
    """
    nm, per_m = table.columns("pure_water")
    return np.asarray(np.interp(np.asarray(wavelength_nm, dtype=np.float64), nm, per_m))


_PURE_PER_M = pure_water_per_m(WAVELENGTH_NM)


def absorption_per_m(tint: Tint) -> Floats:
    """a(λ) of the tinted water on the spectrum's grid, shape (401,) [m⁻¹]."""
    yellow = np.exp(-tint.slope_per_nm * (WAVELENGTH_NM - 440.0))
    return np.asarray(_PURE_PER_M + tint.yellow_440_per_m * yellow)


def transmission(tint: Tint, path_cm: float) -> Floats:
    """exp(−a(λ) · path), shape (401,), for a path of so many centimetres through the water."""
    return np.asarray(np.exp(-absorption_per_m(tint) * path_cm / 100))


def left_after(spectrum: Spectrum, tint: Tint, path_cm: float) -> float:
    """Part of the PAR photons left after a path through the water."""
    return transmitted_share(spectrum, transmission(tint, path_cm))


def at_path(spectrum: Spectrum, tint: Tint, path_cm: float) -> Spectrum:
    """The shape of the light after a path through the water."""
    return spectrum.through(transmission(tint, path_cm))


def mean_absorption_per_m(spectrum: Spectrum, tint: Tint, path_cm: float) -> float:
    """The one constant K that loses as much PAR over this path: −ln(left) / path [m⁻¹].

    It falls with the path, since what fades first is gone first. A path of zero gives its limit,
    the photon-weighted mean of a(λ).
    """
    if path_cm <= 0:
        return transmitted_share(spectrum, absorption_per_m(tint))
    return -float(np.log(left_after(spectrum, tint, path_cm))) / (path_cm / 100)


def absorption_bands(
    spectrum: Spectrum, tint: Tint, *, bands: int = 2
) -> tuple[tuple[float, float], ...]:
    """The light parted into a few exponentials: (share of PAR, absorption per metre) pairs.

    The photon-weighted spread of a(λ) is replaced by the Gauss quadrature of `bands` nodes that
    has the same 2·bands moments (Golub & Welsch 1969, Math. Comp. 23:221), so the transmitted PAR
    agrees with the wavelength-by-wavelength sum to first, second and third order in the path:
    with two bands within 0.1 % to 1 m in every ready-made water (tested). Shares sum to 1.
    """
    par = (WAVELENGTH_NM >= 400) & (WAVELENGTH_NM <= 700)
    weights = spectrum.photons[par].copy()
    weights[[0, -1]] /= 2
    keep = weights > 0
    return _gauss(absorption_per_m(tint)[par][keep], weights[keep] / weights.sum(), bands)


def _gauss(nodes: Floats, weights: Floats, count: int) -> tuple[tuple[float, float], ...]:
    """Gauss quadrature of a discrete measure by the Lanczos recurrence."""
    vector = np.sqrt(weights / weights.sum())
    before, beta = np.zeros_like(vector), 0.0
    diagonal: list[float] = []
    beside: list[float] = []
    for _ in range(min(count, nodes.size)):
        moved = nodes * vector - beta * before
        alpha = float(vector @ moved)
        diagonal.append(alpha)
        moved = moved - alpha * vector
        beta = float(np.linalg.norm(moved))
        if beta < 1e-9 * max(abs(alpha), 1.0):
            break
        beside.append(beta)
        before, vector = vector, moved / beta
    inner = beside[: len(diagonal) - 1]
    jacobi = np.diag(diagonal) + np.diag(inner, 1) + np.diag(inner, -1)
    places, vectors = np.linalg.eigh(jacobi)
    shares = vectors[0] ** 2
    return tuple(
        (float(share), float(place))
        for share, place in zip(shares / shares.sum(), np.maximum(places, 0.0), strict=True)
    )
