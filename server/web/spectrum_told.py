"""What is told about a light, on its calculator's page and on a lamp's: curve, figures, water."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.drawing.line_chart import LineChart, Series, Span, spectrum_chart
from server.optics.colour import appearance
from server.optics.seawater import mean_refractive_index
from server.optics.spectrum import COLOUR_BANDS, WAVELENGTH_NM, Spectrum
from server.optics.symbionts import usable_share
from server.optics.tint import TINTS, Tint, at_path, left_after, mean_absorption_per_m
from server.web.charts import NARROW, WIDE
from server.web.filters import length, number, percent, significant

HEIGHT = 260.0
WATER_OPTIONS = (
    ("usual", "usual: looks clear, faintly yellow in a white bucket"),
    ("polished", "polished: fresh carbon or ozone, white in a bucket"),
    ("yellowed", "yellowed: clearly yellow in a white bucket"),
)
WATER_NAMES = {"polished": "Polished", "usual": "Usual", "yellowed": "Yellowed"}
_EVERY_NM = 2


@dataclass(frozen=True, kw_only=True)
class Swatch:
    """A colour to look at, and what it stands for."""

    colour: str
    words: str
    on_screen: bool


@dataclass(frozen=True, kw_only=True)
class SpectrumTold:
    """Everything about one light, ready to place."""

    wide: LineChart
    narrow: LineChart
    swatches: tuple[Swatch, ...]
    facts: tuple[tuple[str, str], ...]
    usable: str
    mix_columns: tuple[tuple[str, str], ...]
    mix: tuple[tuple[str, ...], ...]
    water_columns: tuple[tuple[str, str], ...]
    waters: tuple[tuple[str, ...], ...]


def told(
    light: Spectrum,
    *,
    name: str,
    depth_cm: float,
    tint: Tint,
    unit: str,
    parts: Sequence[tuple[str, Spectrum, float]] = (),
    waters: Mapping[str, Tint] = TINTS,
) -> SpectrumTold:
    """Charts, swatches and tables of a light.

    parts: channels to be drawn under the whole: name, light, share of its photons.
    """
    depths = sorted({depth_cm, 2 * depth_cm, depth_cm / 2})
    wide, narrow = (_chart(light, name, depth_cm, tint, unit, parts, width) for width in
                    (WIDE, NARROW))  # fmt: skip
    return SpectrumTold(
        wide=wide,
        narrow=narrow,
        swatches=_swatches(light, depth_cm, tint, unit),
        facts=_facts(light),
        usable=_usable(light, depth_cm, tint, unit),
        mix_columns=(
            ("Colour", "text"),
            ("in air, at any height", "number"),
            *((length(depth, unit), "number") for depth in depths),
        ),
        mix=_mix(light, tint, depths),
        water_columns=(
            ("Water", "text"),
            *((f"left at {length(depth, unit)}", "number") for depth in depths),
            *((f"K to {length(depth, unit)}", "number") for depth in depths),
        ),
        waters=tuple(_water_row(light, word, waters[word], depths) for word in waters),
    )


def _chart(
    light: Spectrum,
    name: str,
    depth_cm: float,
    tint: Tint,
    unit: str,
    parts: Sequence[tuple[str, Spectrum, float]],
    width: float,
) -> LineChart:
    """Photons per nm of 100 µmol m⁻² s⁻¹ in air, and of what is left of it under water."""
    left = left_after(light, tint, depth_cm)
    under = at_path(light, tint, depth_cm).photons * left
    series = [_series(light.photons, "" if parts else "in air", 1, shaded=True)]
    if parts:
        series += [
            _series(share * part.photons, words, 2 + k % 3)
            for k, (words, part, share) in enumerate(parts)
        ]
    else:
        series.append(_series(under, f"after {length(depth_cm, unit)}", 2))
    thirds = ", ".join(
        f"{percent(share)} {words}"
        for words, share in zip(("blue", "green", "red"), light.third_shares, strict=True)
    )
    return spectrum_chart(
        width=width,
        height=HEIGHT,
        title=name,
        description=(
            f"Photons by wavelength from 380 to 720 nm. Of the PAR photons in air {thirds} "
            f"(400–500, 500–600, 600–700 nm). After {length(depth_cm, unit)} of water "
            f"{percent(left)} are left."
        ),
        series=series,
        y_name="photons per nm, of 100 in air",
        bands=[
            Span(start=low, end=high, words=words.split(" and ")[0], row=0)
            for words, low, high in COLOUR_BANDS
        ],
        x_range=(380.0, 720.0),
    )


def _series(photons: "np.ndarray[tuple[int, ...], np.dtype[np.float64]]", name: str, style: int,
            *, shaded: bool = False) -> Series:  # fmt: skip
    inside = (WAVELENGTH_NM >= 380) & (WAVELENGTH_NM <= 720)
    nm, level = WAVELENGTH_NM[inside], 100 * photons[inside]
    # Thinned for the page's weight; corners sharper than this do not show at the chart's size.
    keep = np.arange(0, nm.size, _EVERY_NM)
    return Series(
        x=[float(v) for v in nm[keep]],
        y=[float(v) for v in level[keep]],
        name=name,
        style=style,
        shaded=shaded,
    )


def _swatches(light: Spectrum, depth_cm: float, tint: Tint, unit: str) -> tuple[Swatch, ...]:
    places = (
        (light, "in air"),
        (at_path(light, tint, depth_cm), f"after {length(depth_cm, unit)} of water"),
    )
    shown = ((appearance(one), words) for one, words in places)
    return tuple(
        Swatch(colour=one.swatch, words=words, on_screen=one.on_screen) for one, words in shown
    )


def _facts(light: Spectrum) -> tuple[tuple[str, str], ...]:
    blue, green, red = light.third_shares
    seen = appearance(light)
    return (
        (
            "Photons per joule",
            f"{number(light.umol_per_par_joule, 2)} µmol J⁻¹ of light 400–700 nm",
        ),
        ("Lux per PPFD", f"{significant(light.lux_per_ppfd)} lux per µmol m⁻² s⁻¹"),
        ("PAR share", f"{percent(light.par_share, 1)} of the light's energy (380–780 nm)"),
        ("Blue, green, red", f"{percent(blue)}, {percent(green)}, {percent(red)} of the photons"),
        ("Colour", f"x {number(seen.x, 3)}, y {number(seen.y, 3)} (CIE 1931)"),
        ("Index of sea water", number(mean_refractive_index(light), 4)),
    )


def _usable(light: Spectrum, depth_cm: float, tint: Tint, unit: str) -> str:
    air, under = usable_share(light), usable_share(at_path(light, tint, depth_cm))
    return (
        f"{percent(air.low)} to {percent(air.high)} of these photons could be taken up by the "
        f"symbionts' pigments, compared with their best wavelength; after {length(depth_cm, unit)} "
        f"of water {percent(under.low)} to {percent(under.high)} of what is left."
    )


def _mix(light: Spectrum, tint: Tint, depths: Sequence[float]) -> tuple[tuple[str, ...], ...]:
    lights = [light, *(at_path(light, tint, depth) for depth in depths)]
    shares = [one.band_shares for one in lights]
    return tuple(
        (
            f"{words} {low:g}–{high:g}",
            *(percent(column[row][1], 1) for column in shares),
        )
        for row, (words, low, high) in enumerate(COLOUR_BANDS)
    )


def _water_row(light: Spectrum, word: str, tint: Tint, depths: Sequence[float]) -> tuple[str, ...]:
    return (
        WATER_NAMES.get(word, word),
        *(percent(left_after(light, tint, depth), 1) for depth in depths),
        *(f"{number(mean_absorption_per_m(light, tint, depth), 3)} m⁻¹" for depth in depths),
    )
