"""What the watts calculator shows."""

import math
from dataclasses import dataclass

from server.optics.efficacy import (
    BY_KIND,
    WHY_ONLY_WITHIN_A_KIND,
    compare_watts,
    efficacy_is_plausible,
    flux_from_watts,
)
from server.web.filters import number, significant
from server.web.light.watts_form import WattsTyped
from server.web.tanks.typed import Refused

KIND_NAMES = {
    "led_cluster": "LED cluster",
    "led_panel": "LED panel",
    "led_bar": "LED bar",
    "fluorescent_tube": "Fluorescent tubes",
    "metal_halide": "Metal halide",
    "mixed": "Mixed: tubes and LEDs",
}
KINDS = tuple(KIND_NAMES.items())
"""The words of the kinds of lamp, used wherever a kind is shown."""


@dataclass(frozen=True)
class WattsView:
    """The watts calculator: form, answer, every kind's published spread."""

    values: dict[str, str]
    errors: dict[str, str]
    kinds: tuple[tuple[str, str], ...] = KINDS
    more: bool = False
    answer: str = ""
    do: str = ""
    sure: str = ""
    why: str = ""
    sources: tuple[str, ...] = ()
    stated: str = ""
    comparison: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    only_within: str = WHY_ONLY_WITHIN_A_KIND


def rough(flux: float) -> str:
    """An estimated flux with two digits, for it is not surer than that."""
    step = 10.0 ** (math.floor(math.log10(flux)) - 1)
    return significant(round(flux / step) * step, 2)


def refused_view(refused: Refused) -> WattsView:
    return WattsView(refused.values, refused.errors, more=True)


def watts_view(typed: WattsTyped) -> WattsView:
    """The answer for a lamp that was understood."""
    estimate = flux_from_watts(typed.kind, typed.watts)
    efficacy = estimate.efficacy
    return WattsView(
        typed.values,
        {},
        more=bool(typed.values["ppf"] or typed.second),
        answer=(
            f"{number(typed.watts)} W of this kind give about "
            f"{rough(estimate.ppf_umol_s)} µmol s⁻¹."
        ),
        do=(
            "Look for the photon flux (PPF, in µmol s⁻¹) on the box or in the data sheet first; "
            "a stated one is better than this guess."
        ),
        sure=(
            f"An estimate: lamps of this kind were measured at {number(efficacy.low, 2)} to "
            f"{number(efficacy.high, 2)} µmol per joule, so anything from "
            f"{rough(estimate.low)} to {rough(estimate.high)} µmol s⁻¹ may be "
            "true."
        ),
        why=efficacy.why,
        sources=efficacy.sources,
        stated=_stated(typed),
        comparison=_comparison(typed),
        rows=tuple(
            (KIND_NAMES[kind], number(one.low, 2), number(one.typical, 2), number(one.high, 2))
            for kind, one in BY_KIND.items()
        ),
    )


def _stated(typed: WattsTyped) -> str:
    if typed.ppf_umol_s is None:
        return ""
    efficacy = number(typed.ppf_umol_s / typed.watts, 2)
    if efficacy_is_plausible(typed.kind, typed.ppf_umol_s, typed.watts):
        return f"The stated flux makes {efficacy} µmol per joule, which lamps of this kind reach."
    return (
        f"The stated flux makes {efficacy} µmol per joule, which no measured lamp of this kind "
        "came near. Check whether watts and flux belong to the same lamp and setting."
    )


def _comparison(typed: WattsTyped) -> str:
    if typed.second is None:
        return ""
    kind, watts = typed.second
    found = compare_watts(typed.kind, typed.watts, kind, watts)
    if found.ratio is None:
        return found.reason
    times = number(found.ratio, 2)
    return f"The second lamp should give about {times} times the light. {found.reason}"
