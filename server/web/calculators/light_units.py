"""Light units: one reading of a stated light, in every unit."""

from dataclasses import dataclass
from typing import Annotated, cast

from pydantic import Field

from server.optics.light_units import (
    DAYLIGHT_LUX_PER_PPFD,
    UNIT_NAMES,
    VALUE_LIMITS,
    Unit,
    UnitReading,
    unit_reading,
)
from server.optics.spectrum import Spectrum
from server.web.answers import Answer, of
from server.web.ask import Asked
from server.web.calculators.light_asked import SpectrumAsked, light_of
from server.web.calculators.registry import Calculator, Json
from server.web.fields import choice, number
from server.web.filters import number as shown
from server.web.filters import significant
from server.web.forms import Filled, Form
from server.web.lights import light_fields, mixed, read_light
from server.web.scene_json import Number, Strict

VALUE = number("value", "Reading", (VALUE_LIMITS[0], 1e6), like="1000", start="1000")
UNIT = choice("unit", "Unit", tuple(UNIT_NAMES.items()), start="lux", where="What the meter shows.")
LIGHT = light_fields(start="royal_blue", hint="No unit turns into another without it.")
SURE = (
    "Exact for the light chosen; a real lamp's spectrum differs, and a cheap lux meter errs most "
    "in blue and violet, where the eye hardly sees."
)


@dataclass(frozen=True)
class Typed:
    """A reading in one unit of a stated light."""

    value: float
    unit: Unit
    spectrum: Spectrum


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    sure: str
    rows: tuple[tuple[str, str], ...]
    factors: tuple[tuple[str, str], ...]


def read(form: Filled, ask: Asked) -> Typed:
    value, unit, record = form[VALUE], cast(Unit, form[UNIT]), read_light(form)
    return Typed(value, unit, mixed(form, "light", [{"share": 1.0, "spectrum": record}]))


def work(typed: Typed) -> UnitReading:
    return unit_reading(typed.value, typed.unit, typed.spectrum)


def show(typed: Typed, found: UnitReading) -> View:
    return View(
        answer=_answer(typed, found),
        do=_do(typed, found),
        sure=SURE,
        rows=tuple(
            (name, significant(found.level.of(unit), 4)) for unit, name in UNIT_NAMES.items()
        ),
        factors=_factors(typed.spectrum),
    )


def _answer(typed: Typed, found: UnitReading) -> str:
    told = f"{significant(typed.value, 4)} {UNIT_NAMES[typed.unit]}"
    if typed.unit == "ppfd":
        return f"{told} of this light is {significant(found.level.lux)} lux."
    return f"{told} of this light is {significant(found.level.ppfd)} µmol m⁻² s⁻¹."


def _do(typed: Typed, found: UnitReading) -> str:
    if typed.unit == "ppfd":
        return "A PAR meter's reading needs no spectrum; the other units do."
    mistake = found.as_daylight
    if abs(mistake.percent) < 1:
        return "Daylight's factor would be right here to a percent."
    way = "too high" if mistake.percent > 0 else "too low"
    return (
        f"Do not use daylight's factor: it would say {significant(mistake.ppfd)} µmol m⁻² s⁻¹, "
        f"{shown(abs(mistake.percent))} % {way}."
    )


def _factors(light: Spectrum) -> tuple[tuple[str, str], ...]:
    return (
        ("Lux per PPFD", f"{significant(light.lux_per_ppfd, 4)} lux per µmol m⁻² s⁻¹"),
        ("The same for daylight", f"{shown(DAYLIGHT_LUX_PER_PPFD, 1)} (CIE D65)"),
        ("Photons per joule", f"{shown(light.umol_per_par_joule, 3)} µmol J⁻¹ (400–700 nm)"),
    )


class UnitsAsked(Strict):
    """One level of a stated light in one unit."""

    value: Annotated[Number, Field(ge=VALUE_LIMITS[0], le=VALUE_LIMITS[1])]
    unit: Unit
    spectrum: SpectrumAsked


class UnitsAnswer(Answer):
    """The level in every unit; `as_daylight` is what daylight's factor would have made of it."""

    ppfd: float = of("level", "ppfd")
    lux: float = of("level", "lux")
    foot_candles: float = of("level", "foot_candles")
    w_m2: float = of("level", "w_m2")
    umol_per_joule: float = of("spectrum", "umol_per_par_joule")
    lux_per_ppfd: float = of("spectrum", "lux_per_ppfd")
    as_daylight_ppfd: float = of("as_daylight", "ppfd")
    as_daylight_error_percent: float = of("as_daylight", "percent")


def light_units(asked: UnitsAsked) -> UnitReading:
    """Lux, foot-candles, W m⁻² (400–700 nm) and PPFD of a stated spectrum."""
    return unit_reading(asked.value, asked.unit, light_of(asked.spectrum))


LIGHT_UNITS = Calculator(
    key="light-units",
    name="Light units",
    question="What is this lux or foot-candle reading in PPFD?",
    asks="Your reading",
    button="Turn it over",
    form=Form(VALUE, UNIT, *LIGHT),
    read=read,
    work=work,
    show=show,
    json=Json(
        path="/api/light-units",
        summary="One light in every unit",
        work=light_units,
        answer=UnitsAnswer,
    ),
)
