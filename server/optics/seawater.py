"""Refractive index of sea water by salinity, temperature and wavelength.

Quan & Fry 1995, Applied Optics 34(18):3477-3480: n = n0 + (n1 + n2 T + n3 T²) S + n4 T²
+ (n5 + n6 S + n7 T)/λ + n8/λ² + n9/λ³, relative to air, at one atmosphere.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.optics.spectrum import WAVELENGTH_NM, Spectrum

SALINITY_LIMITS = (0.0, 40.0)
"""The equation was fitted to 0–35; reef tanks run to 36 and a little beyond, where it is smooth."""
TEMPERATURE_LIMITS_C = (0.0, 35.0)
"""Fitted to 0–30 °C."""
WAVELENGTH_LIMITS_NM = (380.0, 780.0)
"""Fitted to 400–700 nm."""
REEF_SALINITY, REEF_TEMPERATURE_C = 35.0, 25.0


def refractive_index(
    *, salinity: float, temperature_c: float, wavelength_nm: ArrayLike
) -> NDArray[np.float64]:
    """Index relative to air; the shape of `wavelength_nm`.

    salinity: practical, about g/kg. Raises ValueError outside the limits above.
    """
    _within("salinity", salinity, SALINITY_LIMITS)
    _within("temperature_c", temperature_c, TEMPERATURE_LIMITS_C)
    lam = np.asarray(wavelength_nm, dtype=np.float64)
    for edge in (lam.min(), lam.max()):
        _within("wavelength_nm", float(edge), WAVELENGTH_LIMITS_NM)
    s, t = salinity, temperature_c
    by_salt = (1.779e-4 - 1.05e-6 * t + 1.6e-8 * t**2) * s - 2.02e-6 * t**2
    first = (15.868 + 0.01155 * s - 0.00423 * t) / lam
    return np.asarray(1.31405 + by_salt + first - 4382.0 / lam**2 + 1.1455e6 / lam**3)


def mean_refractive_index(
    spectrum: Spectrum,
    *,
    salinity: float = REEF_SALINITY,
    temperature_c: float = REEF_TEMPERATURE_C,
) -> float:
    """The index its PAR photons meet on average: the one number a light field is traced with."""
    par = (WAVELENGTH_NM >= 400) & (WAVELENGTH_NM <= 700)
    index = refractive_index(
        salinity=salinity, temperature_c=temperature_c, wavelength_nm=WAVELENGTH_NM[par]
    )
    return float(np.average(index, weights=spectrum.photons[par]))


def _within(name: str, value: float, limits: tuple[float, float]) -> None:
    low, high = limits
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value:g}")
