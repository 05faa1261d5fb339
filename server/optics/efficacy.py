"""Photons from watts, by kind of lamp, with the spread of what was measured.

Watts are what the wall socket gives, not what the animals get. Lamps of one kind turn them into
photons alike enough for a rough guess; between kinds they differ two- to threefold, so watts are
compared only within a kind. All published figures found are of lamps for growing plants, whole
fixtures, measured on an integrating sphere or goniometer; no published figure of reef lamps was
read.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from server.optics.lamp import Kind

NELSON_BUGBEE = "Nelson & Bugbee 2014, PLoS ONE 9(6):e99010"
KUSUMA = "Kusuma, Pattison & Bugbee 2020, Horticulture Research 7:56"
WATTS_LIMITS = (0.1, 10_000.0)


@dataclass(frozen=True, kw_only=True)
class Efficacy:
    """PAR photons per joule at the wall [µmol J⁻¹] for a kind of lamp.

    typical: what to reckon with. low, high: the spread to reckon with. why: where they come from.
    """

    low: float
    typical: float
    high: float
    why: str
    sources: tuple[str, ...]


_LED = Efficacy(
    low=0.89,
    typical=1.6,
    high=3.0,
    why="Lowest of ten LED fixtures measured in 2014 and highest of those measured 2017–19; "
    "typical is the geometric middle of the two. A lamp of many single-colour LEDs behind tight "
    "lenses, or an old one, lies in the lower half.",
    sources=(NELSON_BUGBEE, KUSUMA),
)
_TUBE = Efficacy(
    low=0.55,
    typical=0.75,
    high=0.95,
    why="High: the best fluorescent fixture measured in 2014. Low and typical are our estimate for "
    "smaller tubes with plain or old reflectors: no published figure was found.",
    sources=(NELSON_BUGBEE, "low and typical: estimate, no published source"),
)
_HALIDE = Efficacy(
    low=0.6,
    typical=0.95,
    high=1.46,
    why="High: the best ceramic metal halide measured in 2014. Low and typical are our estimate "
    "for smaller or bluer burners: no published figure was found.",
    sources=(NELSON_BUGBEE, "low and typical: estimate, no published source"),
)
_MIXED = Efficacy(
    low=_TUBE.low,
    typical=1.1,
    high=_LED.high,
    why="From the lowest of the tubes to the highest of the LEDs, since the watts of the parts "
    "are not known; typical is the geometric middle of the two kinds' typical figures.",
    sources=(NELSON_BUGBEE, KUSUMA),
)
BY_KIND: Mapping[Kind, Efficacy] = {
    "led_cluster": _LED,
    "led_panel": _LED,
    "led_bar": _LED,
    "fluorescent_tube": _TUBE,
    "metal_halide": _HALIDE,
    "mixed": _MIXED,
}
"""The three layouts of LEDs share one spread: nothing published tells them apart."""


@dataclass(frozen=True, kw_only=True)
class FluxEstimate:
    """Photon flux to reckon with [µmol s⁻¹], and the least and most that were measured."""

    low: float
    ppf_umol_s: float
    high: float
    efficacy: Efficacy


def flux_from_watts(kind: Kind, watts: float) -> FluxEstimate:
    """PAR photon flux of a lamp from its electrical power. Raises ValueError outside the limits."""
    _check(watts)
    efficacy = BY_KIND[kind]
    return FluxEstimate(
        low=efficacy.low * watts,
        ppf_umol_s=efficacy.typical * watts,
        high=efficacy.high * watts,
        efficacy=efficacy,
    )


@dataclass(frozen=True, kw_only=True)
class WattsComparison:
    """Two lamps by their watts: `ratio` second over first, or None with the reason why not."""

    ratio: float | None
    reason: str


WHY_ONLY_WITHIN_A_KIND = (
    "A watt makes a different number of photons in each kind of lamp (about 0.6 to 1 µmol in a "
    "tube, 0.9 to 3 in an LED), so watts of different kinds say nothing about which gives more "
    "light."
)


def compare_watts(
    first: Kind, first_watts: float, second: Kind, second_watts: float
) -> WattsComparison:
    """How the light of two lamps compares, as far as watts can tell."""
    _check(first_watts)
    _check(second_watts)
    alike = BY_KIND[first] is BY_KIND[second] and "mixed" not in (first, second)
    if not alike:
        return WattsComparison(ratio=None, reason=WHY_ONLY_WITHIN_A_KIND)
    spread = BY_KIND[first].high / BY_KIND[first].low
    return WattsComparison(
        ratio=second_watts / first_watts,
        reason=f"Same kind of source, so about in proportion; single lamps of this kind still "
        f"differ up to {spread:.1f}-fold at the same watts.",
    )


def efficacy_is_plausible(kind: Kind, ppf_umol_s: float, watts: float) -> bool:
    """Whether a stated flux lies within a fifth beyond the measured spread of its kind."""
    _check(watts)
    spread = BY_KIND[kind]
    return spread.low / 1.2 <= ppf_umol_s / watts <= spread.high * 1.2


def _check(watts: float) -> None:
    low, high = WATTS_LIMITS
    if not (math.isfinite(watts) and low <= watts <= high):
        raise ValueError(f"watts must lie between {low:g} and {high:g}, not {watts}")
