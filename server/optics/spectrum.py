"""What colours a lamp's light is made of, and everything that follows from it.

A spectrum is radiant power per nanometre on one grid, 380 to 780 nm every nanometre; only its
shape counts. PAR is 400–700 nm. Integrals are trapezoids on that grid. One mole of photons of
wavelength λ carries h c N_A / λ, so one joule holds λ[nm] / 119.6266 µmol (SI 2019, exact
constants).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics import table

Floats = NDArray[np.float64]

WAVELENGTH_NM: Floats = np.arange(380.0, 781.0)
PAR_NM = (400.0, 700.0)
UMOL_PER_J_AND_NM = 1 / 119.6265656387
"""µmol of photons in a joule, per nanometre of wavelength: 1 / (h c N_A), SI 2019."""
LUMENS_PER_WATT = 683.0
"""Luminous efficacy at the peak of V(λ), the definition of the lumen before rounding (CIE)."""

COLOUR_BANDS: tuple[tuple[str, float, float], ...] = (
    ("violet", 400.0, 430.0),
    ("blue", 430.0, 480.0),
    ("cyan", 480.0, 510.0),
    ("green", 510.0, 570.0),
    ("yellow and orange", 570.0, 620.0),
    ("red", 620.0, 700.0),
)
"""Colour bands of PAR as commonly named; the edges are a convention, not a standard."""

_PAR = slice(20, 321)
PHOTOPIC: Floats = table.smooth(WAVELENGTH_NM, *table.columns("photopic_1924"))
"""CIE 1924 V(λ) on the grid."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Spectrum:
    """Shape of a lamp's light.

    name: what to call it on a page.
    power: shape (401,), relative W nm⁻¹ at `WAVELENGTH_NM`; finite, not negative, and with some
        light in 400–700 nm. Raises ValueError otherwise.
    """

    name: str
    power: Floats

    def __post_init__(self) -> None:
        power = np.array(self.power, dtype=np.float64)
        if power.shape != WAVELENGTH_NM.shape:
            raise ValueError(f"power must have shape {WAVELENGTH_NM.shape}, not {power.shape}")
        if not np.all(np.isfinite(power)) or np.any(power < 0):
            raise ValueError("power must be finite and not negative")
        scale = _over(power[_PAR] * WAVELENGTH_NM[_PAR])
        if scale <= 0:
            raise ValueError("there is no light between 400 and 700 nm")
        power = power / scale / UMOL_PER_J_AND_NM
        power.setflags(write=False)
        object.__setattr__(self, "power", power)

    @property
    def photons(self) -> Floats:
        """Photon flux per nm, shape (401,); its integral over 400–700 nm is 1."""
        return self.power * WAVELENGTH_NM * UMOL_PER_J_AND_NM

    @property
    def umol_per_par_joule(self) -> float:
        """PAR photons per joule of light within 400–700 nm [µmol J⁻¹]."""
        return 1 / _over(self.power[_PAR])

    @property
    def umol_per_light_joule(self) -> float:
        """PAR photons per joule of all light in 380–780 nm [µmol J⁻¹]."""
        return 1 / _over(self.power)

    @property
    def par_share(self) -> float:
        """Part of the radiant power of 380–780 nm that lies in 400–700 nm."""
        return _over(self.power[_PAR]) / _over(self.power)

    @property
    def lux_per_ppfd(self) -> float:
        """Lux for each µmol m⁻² s⁻¹ of PPFD: 683 ∫ V E dλ over 380–780 nm per PAR photon."""
        return LUMENS_PER_WATT * _over(self.power * PHOTOPIC)

    def photon_share(self, low_nm: float, high_nm: float) -> float:
        """Photons between two wavelengths as a part of the PAR photons (edges interpolated).

        Parts outside 400–700 nm count beyond the whole: far red over PAR may exceed nothing.
        """
        inner = WAVELENGTH_NM[(low_nm < WAVELENGTH_NM) & (high_nm > WAVELENGTH_NM)]
        nm = np.concatenate(([low_nm], inner, [high_nm]))
        return float(np.trapezoid(np.interp(nm, WAVELENGTH_NM, self.photons), nm))

    @property
    def band_shares(self) -> tuple[tuple[str, float], ...]:
        """Share of PAR photons in each of `COLOUR_BANDS`; they sum to 1."""
        return tuple((name, self.photon_share(low, high)) for name, low, high in COLOUR_BANDS)

    @property
    def third_shares(self) -> tuple[float, float, float]:
        """Share of PAR photons in 400–500, 500–600 and 600–700 nm."""
        return (
            self.photon_share(400.0, 500.0),
            self.photon_share(500.0, 600.0),
            self.photon_share(600.0, 700.0),
        )

    @property
    def mean_wavelength_nm(self) -> float:
        """Mean wavelength of the PAR photons [nm]."""
        return _over((self.photons * WAVELENGTH_NM)[_PAR])

    def through(self, transmission: Floats) -> "Spectrum":
        """The shape left after a filter of the given transmission, shape (401,), 0–1."""
        return Spectrum(name=self.name, power=self.power * transmission)


def transmitted_share(spectrum: Spectrum, transmission: Floats) -> float:
    """Part of the PAR photons that a filter of the given transmission lets through."""
    return _over((spectrum.photons * transmission)[_PAR])


def blend(parts: Sequence[tuple[Spectrum, float]], *, name: str = "mix") -> Spectrum:
    """Lights mixed by their PAR photons.

    parts: spectra with their photon flux in any one unit, none negative, not all zero; raises
        ValueError otherwise.
    """
    total = sum(flux for _, flux in parts)
    if not parts or any(flux < 0 for _, flux in parts) or not total > 0:
        raise ValueError("a mix needs photon shares that are not negative and not all zero")
    return Spectrum(
        name=name, power=np.sum([part.power * (flux / total) for part, flux in parts], axis=0)
    )


def from_table(wavelength_nm: Floats, power: Floats, *, name: str) -> Spectrum:
    """A spectrum from measured rows: straight lines between rows, nothing outside them.

    wavelength_nm, power: shape (n,), n ≥ 2, wavelengths rising. Raises ValueError otherwise.
    """
    if wavelength_nm.size < 2 or wavelength_nm.shape != power.shape:
        raise ValueError("a spectrum needs at least two rows of wavelength and power")
    if np.any(np.diff(wavelength_nm) <= 0):
        raise ValueError("wavelengths must rise from row to row")
    on_grid = np.interp(WAVELENGTH_NM, wavelength_nm, power, left=0.0, right=0.0)
    return Spectrum(name=name, power=on_grid)


def _over(values: Floats) -> float:
    """Trapezoid over the one-nanometre grid."""
    return float(np.sum(values) - (values[0] + values[-1]) / 2)
