"""From one unit of light to another, for a stated spectrum.

No unit of light turns into another without the spectrum: lux and foot-candles weigh by the eye,
W m⁻² by energy, PPFD by count of photons. All are of the same light on the same face.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from server.optics.spectrum import Spectrum

Unit = Literal["ppfd", "lux", "foot_candles", "w_m2"]

UNIT_NAMES: Mapping[Unit, str] = {
    "ppfd": "µmol m⁻² s⁻¹ (PPFD)",
    "lux": "lux",
    "foot_candles": "foot-candles",
    "w_m2": "W m⁻² (400–700 nm)",
}
VALUE_LIMITS = (0.0, 1e7)

SQUARE_FEET_PER_M2 = 1 / 0.3048**2
"""One foot-candle is one lumen per square foot: 10.7639 lux (foot of 1959, exactly 0.3048 m)."""
DAYLIGHT_LUX_PER_PPFD = 55.4977
DAYLIGHT_UMOL_PER_J = 4.5285
"""CIE illuminant D65, integrated at 1 nm, 400–700 nm photons. Thimijan & Heins 1983
(HortScience 18:818) print 54 lux and 4.57 µmol/J for sun and sky; class averages, ±5 %."""


@dataclass(frozen=True, kw_only=True)
class LightLevel:
    """One level of light in every unit; w_m2 counts 400–700 nm only."""

    ppfd: float
    lux: float
    foot_candles: float
    w_m2: float

    def of(self, unit: Unit) -> float:
        """The level in the unit asked for."""
        return float(getattr(self, unit))


@dataclass(frozen=True, kw_only=True)
class DaylightMistake:
    """What comes out when the light is taken for daylight, from the same typed value.

    ppfd: the PPFD one would believe. percent: how far that is from the true one, + is too high.
    """

    ppfd: float
    percent: float


def light_level(value: float, unit: Unit, spectrum: Spectrum) -> LightLevel:
    """The level in all units. Raises ValueError for a value outside `VALUE_LIMITS`."""
    _check(value)
    ppfd = value / _per_ppfd(unit, spectrum.lux_per_ppfd, spectrum.umol_per_par_joule)
    lux = ppfd * spectrum.lux_per_ppfd
    return LightLevel(
        ppfd=ppfd,
        lux=lux,
        foot_candles=lux / SQUARE_FEET_PER_M2,
        w_m2=ppfd / spectrum.umol_per_par_joule,
    )


def mistake_as_daylight(value: float, unit: Unit, spectrum: Spectrum) -> DaylightMistake:
    """The PPFD read off the same value as if the light were daylight (CIE D65).

    For a PPFD typed there is no mistake to make. A value of zero is right either way.
    """
    _check(value)
    true = _per_ppfd(unit, spectrum.lux_per_ppfd, spectrum.umol_per_par_joule)
    assumed = _per_ppfd(unit, DAYLIGHT_LUX_PER_PPFD, DAYLIGHT_UMOL_PER_J)
    return DaylightMistake(ppfd=value / assumed, percent=100 * (true / assumed - 1))


@dataclass(frozen=True, kw_only=True)
class UnitReading:
    """A reading of a stated light: its level in every unit, and what daylight's factor makes."""

    level: LightLevel
    as_daylight: DaylightMistake
    spectrum: Spectrum


def unit_reading(value: float, unit: Unit, spectrum: Spectrum) -> UnitReading:
    """Both of the above. Raises ValueError for a value outside `VALUE_LIMITS`."""
    return UnitReading(
        level=light_level(value, unit, spectrum),
        as_daylight=mistake_as_daylight(value, unit, spectrum),
        spectrum=spectrum,
    )


def _per_ppfd(unit: Unit, lux_per_ppfd: float, umol_per_j: float) -> float:
    """How many of the unit one µmol m⁻² s⁻¹ makes."""
    if unit == "lux":
        return lux_per_ppfd
    if unit == "foot_candles":
        return lux_per_ppfd / SQUARE_FEET_PER_M2
    return 1 / umol_per_j if unit == "w_m2" else 1.0


def _check(value: float) -> None:
    low, high = VALUE_LIMITS
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"the value must lie between {low:g} and {high:g}, not {value}")
