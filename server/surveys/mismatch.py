"""How far a meter misjudges light of another colour or direction than it was calibrated with.

A quantum sensor should answer to every photon of 400–700 nm alike, and to light from the side by
the cosine of its angle; real ones do neither quite. Both corrections are those of photometry (CIE
S 023:2013, spectral mismatch correction factor and directional response; from memory), with
photons in the place of watts.
"""

import numpy as np
from numpy.typing import NDArray

from server.optics.spectrum import WAVELENGTH_NM, Spectrum

Floats = NDArray[np.float64]

_PAR = (WAVELENGTH_NM >= 400.0) & (WAVELENGTH_NM <= 700.0)


def response_curve(wavelength_nm: Floats, relative: Floats) -> Floats:
    """A sensor's answer per photon on `WAVELENGTH_NM`, (401,), from rows of a table.

    Straight lines between rows; nothing outside them. Raises ValueError unless wavelengths rise
    and the answers are finite, not negative and not all zero within 400–700 nm.
    """
    if wavelength_nm.size < 2 or wavelength_nm.shape != relative.shape:
        raise ValueError("a response curve needs at least two rows of wavelength and answer")
    if np.any(np.diff(wavelength_nm) <= 0):
        raise ValueError("wavelengths must rise from row to row")
    if not np.all(np.isfinite(relative)) or np.any(relative < 0):
        raise ValueError("answers must be finite and not negative")
    curve = np.interp(WAVELENGTH_NM, wavelength_nm, relative, left=0.0, right=0.0)
    if not np.any(curve[_PAR] > 0):
        raise ValueError("the sensor must answer to some light between 400 and 700 nm")
    return np.asarray(curve, dtype=np.float64)


def spectral_mismatch(response: Floats, *, calibration: Spectrum, lamp: Spectrum) -> float:
    """F = (∫Ncal·s dλ / ∫Ncal dλ) / (∫N·s dλ / ∫N dλ) over 400–700 nm, N in photons.

    Readings under the lamp are multiplied by it. response: s on `WAVELENGTH_NM`, any unit.
    lamp: its light as it arrives at the sensor, through the water above it (`tint.at_path`).
    Raises ValueError where the sensor does not see the lamp at all.
    """
    seen = _mean_answer(response, lamp)
    if seen <= 0:
        raise ValueError("the sensor does not answer to any of this light")
    return _mean_answer(response, calibration) / seen


def directional_error(angle_deg: Floats, light: Floats, response: Floats) -> float:
    """By how much a sensor reads high (+) or low (−) as a share, from light of several angles.

    angle_deg: from its upright, (n,), below 90. light: what a perfect sensor would read from each,
    (n,). response: the sensor's answer over the cosine of the angle, 1 where it is perfect, (n,).
    """
    if angle_deg.size == 0 or np.any(angle_deg < 0) or np.any(angle_deg >= 90):
        raise ValueError("angles must lie within 0 and below 90 degrees")
    total = float(light.sum())
    if total <= 0:
        raise ValueError("there must be light from some angle")
    return float(light @ response) / total - 1.0


def _mean_answer(response: Floats, light: Spectrum) -> float:
    photons = np.where(_PAR, light.photons, 0.0)
    answered = np.trapezoid((photons * response)[_PAR], WAVELENGTH_NM[_PAR])
    return float(answered / np.trapezoid(photons[_PAR], WAVELENGTH_NM[_PAR]))
