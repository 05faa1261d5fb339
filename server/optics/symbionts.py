"""How much of a light coral symbionts can absorb: always a range, always an estimate.

Weights from the absorption of symbiont pigments (Clementson & Wojtasiewicz 2019, Data in Brief,
doi 10.1016/j.dib.2019.103875), at a low and a high pigment load, coarsened to 10 nm. It is
absorption, not a measured action spectrum: green is understated, and the skeleton's scattering is
left out. The idea of weighting photons by their usefulness is Morel's (1978).
"""

from dataclasses import dataclass

import numpy as np

from server.optics import table
from server.optics.spectrum import WAVELENGTH_NM, Spectrum

_NM, _LOW, _HIGH = table.columns("symbiont_weights")
LOW_PIGMENT = np.interp(WAVELENGTH_NM, _NM, _LOW, left=0.0, right=0.0)
"""Weight of each wavelength at 30 mg chlorophyll a per m², relative to the best one."""
HIGH_PIGMENT = np.interp(WAVELENGTH_NM, _NM, _HIGH, left=0.0, right=0.0)
"""The same at 100 mg per m²."""


@dataclass(frozen=True, kw_only=True)
class Usable:
    """Part of the PAR photons symbionts can absorb, relative to their best wavelength.

    low: with little pigment, high: with much. An estimate.
    """

    low: float
    high: float


def usable_share(spectrum: Spectrum) -> Usable:
    """Photon-weighted mean of the weights over 400–700 nm."""
    photons = spectrum.photons
    return Usable(
        low=float(np.trapezoid(photons * LOW_PIGMENT, WAVELENGTH_NM)),
        high=float(np.trapezoid(photons * HIGH_PIGMENT, WAVELENGTH_NM)),
    )
