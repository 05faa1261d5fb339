"""What a light looks like: CIE 1931 colour, and a swatch a screen can show.

The 1931 colour-matching curves by the multi-lobe fit of Wyman, Sloan & Shirley 2013 (Journal of
Computer Graphics Techniques 2(2):1–11); the tests hold it against the tabulated curves. sRGB by
IEC 61966-2-1.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.spectrum import WAVELENGTH_NM, Spectrum

Floats = NDArray[np.float64]


def _lobe(peak_nm: float, below_nm: float, above_nm: float) -> Floats:
    """Gaussian with one standard deviation below its peak and another above."""
    t = WAVELENGTH_NM - peak_nm
    return np.asarray(np.exp(-0.5 * (t / np.where(t < 0, below_nm, above_nm)) ** 2))


MATCHING: Floats = np.stack(
    [
        1.056 * _lobe(599.8, 37.9, 31.0)
        + 0.362 * _lobe(442.0, 16.0, 26.7)
        - 0.065 * _lobe(501.1, 20.4, 26.2),
        0.821 * _lobe(568.8, 46.9, 40.5) + 0.286 * _lobe(530.9, 16.3, 31.1),
        1.217 * _lobe(437.0, 11.8, 36.0) + 0.681 * _lobe(459.0, 26.0, 13.8),
    ]
)
"""x̄, ȳ, z̄ on the grid, shape (3, 401)."""

_XYZ_TO_LINEAR_RGB = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)
"""IEC 61966-2-1 primaries, D65 white."""


@dataclass(frozen=True, kw_only=True)
class Appearance:
    """x, y: CIE 1931 chromaticity. swatch: `#rrggbb` at full brightness of the screen.

    on_screen: False when the colour is purer than any screen of that standard can show; the
    swatch is then the nearest paler one.
    """

    x: float
    y: float
    swatch: str
    on_screen: bool


def appearance(spectrum: Spectrum) -> Appearance:
    """Colour of a light seen by itself."""
    xyz = MATCHING @ spectrum.power
    x, y = xyz[:2] / xyz.sum()
    linear = _XYZ_TO_LINEAR_RGB @ (xyz / xyz[1])
    return Appearance(
        x=float(x),
        y=float(y),
        swatch=_swatch(linear),
        on_screen=bool(linear.min() >= -1e-3 * linear.max()),
    )


def _swatch(linear: Floats) -> str:
    """Hex code: grey is added until no channel is negative, then the brightest is set to full."""
    shown = linear - min(0.0, float(linear.min()))
    shown = shown / shown.max()
    coded = np.where(shown <= 0.0031308, 12.92 * shown, 1.055 * shown ** (1 / 2.4) - 0.055)
    red, green, blue = (round(255 * float(channel)) for channel in coded)
    return f"#{red:02x}{green:02x}{blue:02x}"
