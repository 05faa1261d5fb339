"""Built-in general shapes of lamp light, by a few numbers each.

None of them is a measured lamp. Gaussians stand for single-colour LEDs, a pump and a phosphor hump
for white LEDs, mercury lines over phosphor bands for tubes, metal lines over a continuum for
halides. Widths and weights of the whites, the white tube and the daylight halide were fitted so
that lux per PPFD, photons per joule and the three thirds of PAR come to those of the CIE
illuminants LED-B5, LED-B3, LED-B1, FL11 and HP4; the tests hold them to that. The rest are plain
estimates.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.spectrum import WAVELENGTH_NM, Spectrum

Floats = NDArray[np.float64]

PEAK_LIMITS_NM = (390.0, 730.0)
WIDTH_LIMITS_NM = (2.0, 200.0)
PUMP_NM, PUMP_WIDTH_NM = 450.0, 20.0

_MERCURY = ((404.7, 0.28), (435.8, 0.9), (546.1, 1.0), (577.0, 0.15), (579.1, 0.15))
"""Visible mercury lines [nm] and rough strengths behind phosphor glass."""


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A ready-made shape: key in forms and files, name on pages, one sentence about it."""

    key: str
    name: str
    about: str
    make: Callable[[], Spectrum]


def gaussian(*, peak_nm: float, width_nm: float, name: str = "") -> Spectrum:
    """A single-colour LED: gaussian in power, `width_nm` full width at half height.

    Raises ValueError outside `PEAK_LIMITS_NM` and `WIDTH_LIMITS_NM`.
    """
    _within("peak_nm", peak_nm, PEAK_LIMITS_NM)
    _within("width_nm", width_nm, WIDTH_LIMITS_NM)
    return Spectrum(
        name=name or f"{peak_nm:g} nm, {width_nm:g} nm wide", power=_hump(peak_nm, width_nm)
    )


def phosphor_white(
    *,
    blue_share: float,
    phosphor_nm: float = 558.0,
    phosphor_width_nm: float = 156.0,
    name: str = "",
) -> Spectrum:
    """A white LED: a blue pump at 450 nm and a broad phosphor hump, mixed by radiant power.

    blue_share: part of the radiant power in the pump, 0.02–0.95. The hump falls off faster on its
    blue side (0.75 of the width) than on its red side. Raises ValueError outside the limits.
    """
    _within("blue_share", blue_share, (0.02, 0.95))
    _within("phosphor_nm", phosphor_nm, (500.0, 650.0))
    _within("phosphor_width_nm", phosphor_width_nm, (40.0, 200.0))
    pump = _hump(PUMP_NM, PUMP_WIDTH_NM)
    hump = _hump(phosphor_nm, phosphor_width_nm, blue_side=0.75)
    power = blue_share * pump / pump.sum() + (1 - blue_share) * hump / hump.sum()
    return Spectrum(name=name or f"phosphor white, {100 * blue_share:.0f} % pump", power=power)


def tube(*, bands: tuple[tuple[float, float, float], ...], mercury: float, name: str) -> Spectrum:
    """A fluorescent tube: phosphor bands (peak, width, power) and mercury lines.

    mercury: part of the radiant power in the mercury lines, 0–0.6.
    """
    _within("mercury", mercury, (0.0, 0.6))
    phosphor = _sum_of(bands)
    lines = _sum_of(tuple((nm, 3.0, strength) for nm, strength in _MERCURY))
    return Spectrum(name=name, power=(1 - mercury) * phosphor + mercury * lines)


def halide(
    *, lines: tuple[tuple[float, float, float], ...], continuum: float, name: str
) -> Spectrum:
    """A metal-halide lamp: broadened metal lines (peak, width, power) over a wide continuum."""
    _within("continuum", continuum, (0.0, 0.95))
    wide = _hump(540.0, 260.0)
    return Spectrum(
        name=name, power=continuum * wide / wide.sum() + (1 - continuum) * _sum_of(lines)
    )


def _led(key: str, name: str, peak_nm: float, width_nm: float) -> Ready:
    about = f"Single-colour LED, peak {peak_nm:g} nm, {width_nm:g} nm wide at half height."
    return Ready(
        key=key,
        name=name,
        about=about,
        make=lambda: gaussian(peak_nm=peak_nm, width_nm=width_nm, name=name),
    )


def _white(key: str, name: str, blue_share: float, phosphor_nm: float, width_nm: float) -> Ready:
    about = (
        f"Blue pump at 450 nm with {100 * blue_share:.0f} % of the power, "
        f"phosphor hump at {phosphor_nm:g} nm."
    )
    return Ready(
        key=key,
        name=name,
        about=about,
        make=lambda: phosphor_white(
            blue_share=blue_share,
            phosphor_nm=phosphor_nm,
            phosphor_width_nm=width_nm,
            name=name,
        ),
    )


_TRIBAND = ((450.0, 50.0, 0.27), (543.0, 14.0, 0.075), (585.0, 25.0, 0.315), (611.0, 10.0, 0.34))
_BLUE_BAND = ((450.0, 52.0, 0.93), (543.0, 14.0, 0.07))
_ACTINIC_BAND = ((420.0, 32.0, 1.0),)
_DAYLIGHT_METALS = (
    (420.0, 16.0, 0.07),
    (475.0, 35.0, 0.163),
    (535.0, 22.0, 0.462),
    (590.0, 26.0, 0.028),
    (670.0, 30.0, 0.277),
)
_BLUE_METALS = ((410.0, 6.0, 0.09), (451.0, 9.0, 0.63), (535.0, 7.0, 0.2), (590.0, 14.0, 0.08))

READY: tuple[Ready, ...] = (
    _white("white_cool", "Cool white LED", 0.26, 558.0, 156.0),
    _white("white_neutral", "Neutral white LED", 0.166, 575.5, 165.0),
    _white("white_warm", "Warm white LED", 0.099, 595.5, 145.5),
    _led("violet", "Violet LED", 405.0, 15.0),
    _led("indigo", "Deep violet-blue LED", 425.0, 18.0),
    _led("royal_blue", "Royal blue LED", 450.0, 20.0),
    _led("blue", "Blue LED", 470.0, 24.0),
    _led("cyan", "Cyan LED", 500.0, 30.0),
    _led("green", "Green LED", 525.0, 35.0),
    _led("amber", "Amber LED", 592.0, 17.0),
    _led("red", "Red LED", 630.0, 18.0),
    _led("deep_red", "Deep red LED", 660.0, 20.0),
    Ready(
        key="tube_white",
        name="White tube",
        about="Three phosphor bands (blue, green, red) and mercury lines.",
        make=lambda: tube(bands=_TRIBAND, mercury=0.12, name="White tube"),
    ),
    Ready(
        key="tube_blue",
        name="Blue tube",
        about="One wide blue phosphor band at 450 nm and mercury lines.",
        make=lambda: tube(bands=_BLUE_BAND, mercury=0.1, name="Blue tube"),
    ),
    Ready(
        key="tube_actinic",
        name="Violet-blue tube",
        about="One phosphor band at 420 nm and mercury lines.",
        make=lambda: tube(bands=_ACTINIC_BAND, mercury=0.1, name="Violet-blue tube"),
    ),
    Ready(
        key="halide_daylight",
        name="Daylight halide",
        about="Many metal lines over a wide continuum.",
        make=lambda: halide(lines=_DAYLIGHT_METALS, continuum=0.45, name="Daylight halide"),
    ),
    Ready(
        key="halide_blue",
        name="Blue halide",
        about="A strong indium line at 451 nm, thallium green at 535 nm, some continuum.",
        make=lambda: halide(lines=_BLUE_METALS, continuum=0.25, name="Blue halide"),
    ),
    Ready(
        key="even",
        name="Even light",
        about="The same power at every wavelength: a yardstick, not a lamp.",
        make=lambda: Spectrum(name="Even light", power=np.ones(WAVELENGTH_NM.size)),
    ),
)
READY_BY_KEY: Mapping[str, Ready] = {shape.key: shape for shape in READY}


def ready(key: str) -> Spectrum:
    """The ready-made shape of that key. Raises ValueError for an unknown one."""
    if key not in READY_BY_KEY:
        raise ValueError(f"unknown shape {key!r}; known are {', '.join(READY_BY_KEY)}")
    return READY_BY_KEY[key].make()


def _hump(peak_nm: float, width_nm: float, *, blue_side: float = 1.0) -> Floats:
    """Gaussian of a full width at half height, narrower below its peak by `blue_side`."""
    width = np.where(peak_nm > WAVELENGTH_NM, width_nm * blue_side, width_nm)
    return np.asarray(np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - peak_nm) / width) ** 2))


def _sum_of(bands: tuple[tuple[float, float, float], ...]) -> Floats:
    """Humps (peak, width, power) added by their power, scaled to a sum of one."""
    total = np.zeros(WAVELENGTH_NM.size)
    for peak_nm, width_nm, power in bands:
        hump = _hump(peak_nm, width_nm)
        total += power * hump / hump.sum()
    return np.asarray(total / total.sum())


def _within(name: str, value: float, limits: tuple[float, float]) -> None:
    low, high = limits
    if not low <= value <= high:
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value:g}")
