"""Photons from watts: what a lamp of a kind may give, and what watts can compare."""

from dataclasses import dataclass
from typing import Annotated, cast

from pydantic import Field

from server.optics.efficacy import (
    BY_KIND,
    WATTS_LIMITS,
    WHY_ONLY_WITHIN_A_KIND,
    FluxEstimate,
    compare_watts,
    efficacy_is_plausible,
    flux_from_watts,
)
from server.optics.lamp import Kind
from server.web.answers import Answer, of
from server.web.ask import Asked
from server.web.calculators.registry import Calculator, Json
from server.web.fields import choice, maybe, number
from server.web.filters import number as shown
from server.web.forms import Filled, Form
from server.web.lamp_kinds import KIND_NAMES, KINDS, rough
from server.web.scene_json import Number, Strict

KIND = choice("kind", "Kind of lamp", KINDS, start="led_panel")
WATT = number(
    "watts", "Watts at full power", WATTS_LIMITS, like="150", unit="W", start="150",
    where="On the type plate, or from a plug-in power meter.",
)  # fmt: skip
PPF = maybe(
    number("ppf", "Its stated photon flux", (0.1, 30_000), like="250", unit="µmol s⁻¹",
           hint="To check a figure you were given.")
)  # fmt: skip
KIND_2 = choice("kind2", "Compare with", (("", "nothing"), *KINDS))
WATT_2 = number("watts2", "Watts of that lamp", WATTS_LIMITS, like="150", unit="W")


@dataclass(frozen=True)
class Typed:
    """A lamp by its watts; its stated flux, and a second lamp beside it, where typed."""

    kind: Kind
    watts: float
    ppf_umol_s: float | None
    second: tuple[Kind, float] | None


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    sure: str
    why: str
    sources: tuple[str, ...]
    stated: str
    comparison: str
    rows: tuple[tuple[str, ...], ...]
    only_within: str = WHY_ONLY_WITHIN_A_KIND


def read(form: Filled, ask: Asked) -> Typed:
    kind, watts, ppf = cast(Kind, form[KIND]), form[WATT], form[PPF]
    second = cast(Kind, form[KIND_2])
    second_watts = form[WATT_2] if second else form[maybe(WATT_2)]
    form.check()
    return Typed(kind, watts, ppf, (second, second_watts) if second and second_watts else None)


def work(typed: Typed) -> FluxEstimate:
    return flux_from_watts(typed.kind, typed.watts)


def show(typed: Typed, found: FluxEstimate) -> View:
    efficacy = found.efficacy
    return View(
        answer=(
            f"{shown(typed.watts)} W of this kind give about {rough(found.ppf_umol_s)} µmol s⁻¹."
        ),
        do=(
            "Look for the photon flux (PPF, in µmol s⁻¹) on the box or in the data sheet first; "
            "a stated one is better than this guess."
        ),
        sure=(
            f"An estimate: lamps of this kind were measured at {shown(efficacy.low, 2)} to "
            f"{shown(efficacy.high, 2)} µmol per joule, so anything from {rough(found.low)} to "
            f"{rough(found.high)} µmol s⁻¹ may be true."
        ),
        why=efficacy.why,
        sources=efficacy.sources,
        stated=_stated(typed),
        comparison=_comparison(typed),
        rows=tuple(
            (KIND_NAMES[kind], shown(one.low, 2), shown(one.typical, 2), shown(one.high, 2))
            for kind, one in BY_KIND.items()
        ),
    )


def _stated(typed: Typed) -> str:
    if typed.ppf_umol_s is None:
        return ""
    efficacy = shown(typed.ppf_umol_s / typed.watts, 2)
    if efficacy_is_plausible(typed.kind, typed.ppf_umol_s, typed.watts):
        return f"The stated flux makes {efficacy} µmol per joule, which lamps of this kind reach."
    return (
        f"The stated flux makes {efficacy} µmol per joule, which no measured lamp of this kind "
        "came near. Check whether watts and flux belong to the same lamp and setting."
    )


def _comparison(typed: Typed) -> str:
    if typed.second is None:
        return ""
    kind, watts = typed.second
    found = compare_watts(typed.kind, typed.watts, kind, watts)
    if found.ratio is None:
        return found.reason
    times = shown(found.ratio, 2)
    return f"The second lamp should give about {times} times the light. {found.reason}"


class WattsAsked(Strict):
    """A lamp by its kind and electrical power."""

    kind: Kind
    watts: Annotated[Number, Field(ge=WATTS_LIMITS[0], le=WATTS_LIMITS[1])]


class WattsAnswer(Answer):
    """Photon flux to reckon with, and its spread; always an estimate."""

    ppf_umol_s: float
    low_umol_s: float = of("low")
    high_umol_s: float = of("high")
    umol_per_joule: float = of("efficacy", "typical")
    low_umol_per_joule: float = of("efficacy", "low")
    high_umol_per_joule: float = of("efficacy", "high")
    estimate: bool = True
    why: str = of("efficacy", "why")
    sources: list[str] = of("efficacy", "sources")
    comparable: str = WHY_ONLY_WITHIN_A_KIND


def watts(asked: WattsAsked) -> FluxEstimate:
    """Photon flux from watts by kind of source, with the spread of published efficacies."""
    return flux_from_watts(asked.kind, asked.watts)


WATTS = Calculator(
    key="watts",
    name="Photons from watts",
    question="How much light can so many watts give?",
    asks="Your lamp",
    button="Reckon",
    form=Form(KIND, WATT, PPF, KIND_2, maybe(WATT_2)),
    read=read,
    work=work,
    show=show,
    json=Json(path="/api/watts", summary="Photons from watts", work=watts, answer=WattsAnswer),
)
