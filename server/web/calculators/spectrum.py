"""Spectrum: what a light is made of, and what the water leaves of it."""

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from server.optics.light_mix import LightInWater, light_in_water
from server.optics.seawater import (
    REEF_SALINITY,
    REEF_TEMPERATURE_C,
    SALINITY_LIMITS,
    TEMPERATURE_LIMITS_C,
)
from server.optics.spectrum import Spectrum
from server.optics.tint import TINTS, YELLOW_LIMITS_PER_M, Tint, left_after
from server.web.answers import Answer, of
from server.web.ask import Asked
from server.web.calculators.light_asked import SpectrumAsked, light_of
from server.web.calculators.registry import Calculator, Json
from server.web.fields import choice, length, maybe, number
from server.web.filters import length as shown_length
from server.web.filters import percent, significant
from server.web.forms import Field as FormField
from server.web.forms import Filled, Form
from server.web.lights import LIGHTS, NONE, Record, light_fields, mixed, read_light
from server.web.scene_json import Number, Strict
from server.web.spectrum_told import WATER_OPTIONS, SpectrumTold, told

LIGHT_COUNT = 3
_LIGHTS = {"1": LIGHTS, "2": (*NONE, *LIGHTS), "3": (*NONE, *LIGHTS)}
_STARTS = {"1": ("royal_blue", "60"), "2": ("white_cool", "40"), "3": ("", "")}
SHARE = number(
    "share", "Its share", (0, 100), like="40", unit="%",
    hint="Of the photons; the shares are taken relative to their sum.",
)  # fmt: skip
WATER = choice("water", "Water", WATER_OPTIONS, start="usual")
DEPTH = length(
    "depth", "Way through the water", (1.0, 500.0), like_cm=30, start="30",
    hint="The depth right under the lamp; more for slanting light.",
)  # fmt: skip
YELLOW = maybe(
    number("yellow", "Absorption of the yellow substance at 440 nm", (0, YELLOW_LIMITS_PER_M[1]),
           like="0.1", unit="per metre",
           hint="If a laboratory measured it; replaces the water's word.")
)  # fmt: skip
SURE = (
    "Exact for the curve drawn here. The ready shapes are general ones, not measured lamps: reckon "
    "with 5 % in lux per PPFD for whites, and much more for blue and violet."
)


def _one_light(suffix: str) -> tuple[FormField[object], ...]:
    light, share = _STARTS[suffix]
    fields = light_fields(suffix, known=_LIGHTS[suffix], start=light)
    return (*fields, maybe(SHARE).named(suffix).but(start=share))


@dataclass(frozen=True)
class Typed:
    """A light and the water it goes through."""

    spectrum: Spectrum
    tint: Tint
    depth_cm: float
    unit: str


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    sure: str
    told: SpectrumTold


def read(form: Filled, ask: Asked) -> Typed:
    parts = [part for suffix in _LIGHTS if (part := _part(form, suffix))]
    water, yellow, depth = form[WATER], form[YELLOW], form[DEPTH]
    spectrum = mixed(form, "light1", parts)
    tint = TINTS[water] if yellow is None else Tint(yellow_440_per_m=yellow)
    return Typed(spectrum, tint, depth, form.unit)


def _part(form: Filled, suffix: str) -> Record | None:
    """One light and its share; the first may leave its share out."""
    record = read_light(form, suffix, known=_LIGHTS[suffix])
    share = SHARE.named(suffix)
    if record is None:
        form[maybe(share)]
        return None
    part = form[maybe(share)] if suffix == "1" else form[share]
    return {"share": 100.0 if part is None else part, "spectrum": record}


def work(typed: Typed) -> float:
    """The share of the light that is left; the rest is drawn by `spectrum_told`."""
    return left_after(typed.spectrum, typed.tint, typed.depth_cm)


def show(typed: Typed, left: float) -> View:
    lux = significant(typed.spectrum.lux_per_ppfd)
    return View(
        answer=(
            f"This light reads {lux} lux for each µmol m⁻² s⁻¹, and {percent(left)} of it is left "
            f"after {shown_length(typed.depth_cm, typed.unit)} of this water."
        ),
        do=f"To turn a lux reading of it into PPFD, divide by {lux}.",
        sure=SURE,
        told=told(
            typed.spectrum,
            name="Light in air and under water",
            depth_cm=typed.depth_cm,
            tint=typed.tint,
            unit=typed.unit,
        ),
    )


Yellow = Annotated[Number, Field(ge=YELLOW_LIMITS_PER_M[0], le=YELLOW_LIMITS_PER_M[1])]
Path = Annotated[Number, Field(ge=0, le=2000)]
Salinity = Annotated[Number, Field(ge=SALINITY_LIMITS[0], le=SALINITY_LIMITS[1])]
Temperature = Annotated[Number, Field(ge=TEMPERATURE_LIMITS_C[0], le=TEMPERATURE_LIMITS_C[1])]


class LightThroughWater(Strict):
    """A light and the water it goes through."""

    spectrum: SpectrumAsked
    water: Literal["polished", "usual", "yellowed"] | None = "usual"
    yellow_440_per_m: Yellow | None = Field(
        default=None,
        description="Absorption of the yellow substance at 440 nm, instead of the water's word.",
    )
    depths_cm: Annotated[list[Path], Field(max_length=20)] = Field(default=[10.0, 30.0, 60.0])
    salinity: Salinity = REEF_SALINITY
    temperature_c: Temperature = REEF_TEMPERATURE_C


class Look(Answer):
    """CIE 1931 chromaticity and the nearest colour a screen shows."""

    x: float
    y: float
    srgb: str = of("swatch")
    on_screen: bool


class UsableRange(Answer):
    """Estimate: share of the PAR photons symbiont pigments could absorb."""

    low: float
    high: float
    estimate: bool = True


class LightMix(Answer):
    """Make-up of a light."""

    bands: dict[str, float]
    blue_green_red: tuple[float, float, float] = of("thirds")
    usable_by_symbionts: UsableRange = of("usable")
    colour: Look


class AtDepth(Answer):
    """The light after a vertical path through the water."""

    bands: dict[str, float] = of("mix", "bands")
    blue_green_red: tuple[float, float, float] = of("mix", "thirds")
    usable_by_symbionts: UsableRange = of("mix", "usable")
    colour: Look = of("mix", "colour")
    depth_cm: float
    left: float
    mean_absorption_per_m: float


class SpectrumAnswer(Answer):
    """What follows from a spectrum."""

    umol_per_joule: float = of("spectrum", "umol_per_par_joule")
    lux_per_ppfd: float = of("spectrum", "lux_per_ppfd")
    par_share: float = of("spectrum", "par_share")
    refractive_index: float
    absorption_per_m: list[tuple[float, float]] = of("absorption")
    in_air: LightMix
    at_depth: list[AtDepth]


def spectrum(asked: LightThroughWater) -> LightInWater:
    """Photons per joule, lux per PPFD, colour bands, usable light, colour, and all by depth.

    `absorption_per_m` is the list of [share, per metre] pairs to give to /api/spread.
    """
    tint = TINTS[asked.water or "usual"]
    if asked.yellow_440_per_m is not None:
        tint = Tint(yellow_440_per_m=asked.yellow_440_per_m)
    return light_in_water(
        light_of(asked.spectrum),
        tint,
        depths_cm=asked.depths_cm,
        salinity=asked.salinity,
        temperature_c=asked.temperature_c,
    )


SPECTRUM = Calculator(
    key="spectrum",
    name="Spectrum",
    question="What is this light made of, and what does the water leave of it?",
    asks="Your light",
    button="Work it out",
    form=Form(*(one for suffix in _LIGHTS for one in _one_light(suffix)), WATER, DEPTH, YELLOW),
    read=read,
    work=work,
    show=show,
    json=Json(
        path="/api/spectrum",
        summary="What a spectrum means",
        work=spectrum,
        answer=SpectrumAnswer,
    ),
)
