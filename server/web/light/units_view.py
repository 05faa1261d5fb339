"""What the light-unit calculator shows."""

from dataclasses import dataclass

from server.optics.light_units import (
    DAYLIGHT_LUX_PER_PPFD,
    UNIT_NAMES,
    LightLevel,
    light_level,
    mistake_as_daylight,
)
from server.optics.spectrum import Spectrum
from server.web.filters import number, significant
from server.web.light.light_form import LIGHTS
from server.web.light.units_form import UnitsTyped
from server.web.tanks.typed import Refused

UNITS = tuple(UNIT_NAMES.items())


@dataclass(frozen=True)
class UnitsView:
    """The light-unit calculator: form, answer, the level in every unit."""

    values: dict[str, str]
    errors: dict[str, str]
    units: tuple[tuple[str, str], ...] = UNITS
    lights: tuple[tuple[str, str], ...] = LIGHTS
    answer: str = ""
    do: str = ""
    sure: str = ""
    rows: tuple[tuple[str, str], ...] = ()
    factors: tuple[tuple[str, str], ...] = ()
    light_name: str = ""


def refused_view(refused: Refused) -> UnitsView:
    return UnitsView(refused.values, refused.errors)


def units_view(typed: UnitsTyped) -> UnitsView:
    """The answer for a reading that was understood."""
    level = light_level(typed.value, typed.unit, typed.spectrum)
    return UnitsView(
        typed.values,
        {},
        answer=_answer(typed, level),
        do=_do(typed),
        sure=(
            "Exact for the light chosen; a real lamp's spectrum differs, and a cheap lux meter "
            "errs most in blue and violet, where the eye hardly sees."
        ),
        rows=tuple((name, significant(level.of(unit), 4)) for unit, name in UNIT_NAMES.items()),
        factors=_factors(typed.spectrum),
        light_name=typed.spectrum.name,
    )


def _answer(typed: UnitsTyped, level: LightLevel) -> str:
    shown = f"{significant(typed.value, 4)} {UNIT_NAMES[typed.unit]}"
    if typed.unit == "ppfd":
        return f"{shown} of this light is {significant(level.lux)} lux."
    return f"{shown} of this light is {significant(level.ppfd)} µmol m⁻² s⁻¹."


def _do(typed: UnitsTyped) -> str:
    if typed.unit == "ppfd":
        return "A PAR meter's reading needs no spectrum; the other units do."
    mistake = mistake_as_daylight(typed.value, typed.unit, typed.spectrum)
    if abs(mistake.percent) < 1:
        return "Daylight's factor would be right here to a percent."
    way = "too high" if mistake.percent > 0 else "too low"
    return (
        f"Do not use daylight's factor: it would say {significant(mistake.ppfd)} µmol m⁻² s⁻¹, "
        f"{number(abs(mistake.percent))} % {way}."
    )


def _factors(light: Spectrum) -> tuple[tuple[str, str], ...]:
    return (
        ("Lux per PPFD", f"{significant(light.lux_per_ppfd, 4)} lux per µmol m⁻² s⁻¹"),
        ("The same for daylight", f"{number(DAYLIGHT_LUX_PER_PPFD, 1)} (CIE D65)"),
        ("Photons per joule", f"{number(light.umol_per_par_joule, 3)} µmol J⁻¹ (400–700 nm)"),
    )
