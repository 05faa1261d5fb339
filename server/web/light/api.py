"""Light units, spectrum, watts, shimmer and photometric files as JSON."""

from typing import Annotated, Literal

from fastapi import APIRouter, File, UploadFile
from pydantic import Field

from server.optics import efficacy as reckoning
from server.optics import emitters as lights
from server.optics import shimmer as dance
from server.optics.broken_file import BrokenFile
from server.optics.colour import appearance
from server.optics.lamp import Kind
from server.optics.light_units import VALUE_LIMITS, Unit, light_level, mistake_as_daylight
from server.optics.photometric_file import MAX_BYTES
from server.optics.photometric_reader import read_photometric_file
from server.optics.seawater import (
    REEF_SALINITY,
    REEF_TEMPERATURE_C,
    SALINITY_LIMITS,
    TEMPERATURE_LIMITS_C,
    mean_refractive_index,
)
from server.optics.spectrum import Spectrum
from server.optics.spectrum_record import spectrum_from
from server.optics.symbionts import usable_share
from server.optics.tint import (
    TINTS,
    YELLOW_LIMITS_PER_M,
    Tint,
    absorption_bands,
    at_path,
    left_after,
    mean_absorption_per_m,
)
from server.web.problem import RESPONSES, Refusal
from server.web.scene_json import Emitters, Number, Strict

router = APIRouter(tags=["calculators"])

_SPECTRUM = Field(
    description=(
        'The light: {"shape": "ready", "key": "royal_blue"}, {"shape": "gaussian", "peak_nm", '
        '"width_nm"}, {"shape": "phosphor_white", "blue_share", "phosphor_nm", '
        '"phosphor_width_nm"}, {"shape": "table", "wavelength_nm": […], "power": […]} or '
        '{"shape": "mix", "parts": [{"share", "spectrum"}]}'
    ),
    examples=[{"shape": "ready", "key": "royal_blue"}],
)
SpectrumAsked = Annotated[dict[str, object], _SPECTRUM]
_NOT_TAKEN = "Some fields could not be taken."


class UnitsAsked(Strict):
    """One level of a stated light in one unit."""

    value: Annotated[Number, Field(ge=VALUE_LIMITS[0], le=VALUE_LIMITS[1])]
    unit: Unit
    spectrum: SpectrumAsked


class UnitsAnswer(Strict):
    """The level in every unit; `as_daylight` is what daylight's factor would have made of it."""

    ppfd: float
    lux: float
    foot_candles: float
    w_m2: float
    umol_per_joule: float
    lux_per_ppfd: float
    as_daylight_ppfd: float
    as_daylight_error_percent: float


@router.post("/api/light-units", responses=RESPONSES, summary="One light in every unit")
def light_units(asked: UnitsAsked) -> UnitsAnswer:
    """Lux, foot-candles, W m⁻² (400–700 nm) and PPFD of a stated spectrum."""
    light = _light(asked.spectrum)
    level = light_level(asked.value, asked.unit, light)
    mistake = mistake_as_daylight(asked.value, asked.unit, light)
    return UnitsAnswer(
        ppfd=level.ppfd,
        lux=level.lux,
        foot_candles=level.foot_candles,
        w_m2=level.w_m2,
        umol_per_joule=light.umol_per_par_joule,
        lux_per_ppfd=light.lux_per_ppfd,
        as_daylight_ppfd=mistake.ppfd,
        as_daylight_error_percent=mistake.percent,
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


class Look(Strict):
    """CIE 1931 chromaticity and the nearest colour a screen shows."""

    x: float
    y: float
    srgb: str
    on_screen: bool


class UsableRange(Strict):
    """Estimate: share of the PAR photons symbiont pigments could absorb."""

    low: float
    high: float
    estimate: bool = True


class LightMix(Strict):
    """Make-up of a light."""

    bands: dict[str, float]
    blue_green_red: tuple[float, float, float]
    usable_by_symbionts: UsableRange
    colour: Look


class AtDepth(LightMix):
    """The light after a vertical path through the water."""

    depth_cm: float
    left: float
    mean_absorption_per_m: float


class SpectrumAnswer(Strict):
    """What follows from a spectrum."""

    umol_per_joule: float
    lux_per_ppfd: float
    par_share: float
    refractive_index: float
    absorption_per_m: list[tuple[float, float]]
    in_air: LightMix
    at_depth: list[AtDepth]


@router.post("/api/spectrum", responses=RESPONSES, summary="What a spectrum means")
def spectrum(asked: LightThroughWater) -> SpectrumAnswer:
    """Photons per joule, lux per PPFD, colour bands, usable light, colour, and all by depth.

    `absorption_per_m` is the list of [share, per metre] pairs to give to /api/spread.
    """
    light = _light(asked.spectrum)
    tint = TINTS[asked.water or "usual"]
    if asked.yellow_440_per_m is not None:
        tint = Tint(yellow_440_per_m=asked.yellow_440_per_m)
    return SpectrumAnswer(
        umol_per_joule=light.umol_per_par_joule,
        lux_per_ppfd=light.lux_per_ppfd,
        par_share=light.par_share,
        refractive_index=mean_refractive_index(
            light, salinity=asked.salinity, temperature_c=asked.temperature_c
        ),
        absorption_per_m=list(absorption_bands(light, tint)),
        in_air=LightMix(**_mix(light)),
        at_depth=[_at_depth(light, tint, depth) for depth in asked.depths_cm],
    )


class WattsAsked(Strict):
    """A lamp by its kind and electrical power."""

    kind: Kind
    watts: Annotated[Number, Field(ge=reckoning.WATTS_LIMITS[0], le=reckoning.WATTS_LIMITS[1])]


class WattsAnswer(Strict):
    """Photon flux to reckon with, and its spread; always an estimate."""

    ppf_umol_s: float
    low_umol_s: float
    high_umol_s: float
    umol_per_joule: float
    low_umol_per_joule: float
    high_umol_per_joule: float
    estimate: bool = True
    why: str
    sources: list[str]
    comparable: str = reckoning.WHY_ONLY_WITHIN_A_KIND


@router.post("/api/watts", responses=RESPONSES, summary="Photons from watts")
def watts(asked: WattsAsked) -> WattsAnswer:
    """Photon flux from watts by kind of source, with the spread of published efficacies."""
    found = reckoning.flux_from_watts(asked.kind, asked.watts)
    return WattsAnswer(
        ppf_umol_s=found.ppf_umol_s,
        low_umol_s=found.low,
        high_umol_s=found.high,
        umol_per_joule=found.efficacy.typical,
        low_umol_per_joule=found.efficacy.low,
        high_umol_per_joule=found.efficacy.high,
        why=found.efficacy.why,
        sources=list(found.efficacy.sources),
    )


Depth = Annotated[Number, Field(ge=dance.LIMITS["depth_cm"][0], le=dance.LIMITS["depth_cm"][1])]
RippleLength = Annotated[
    Number,
    Field(ge=dance.LIMITS["ripple_length_cm"][0], le=dance.LIMITS["ripple_length_cm"][1]),
]
RippleHeight = Annotated[Number, Field(gt=0, le=dance.LIMITS["ripple_height_cm"][1])]
Place = Annotated[Number, Field(ge=lights.LIMITS["x_cm"][0], le=lights.LIMITS["x_cm"][1])]
Index = Annotated[Number, Field(gt=1, le=1.6)]


class ShimmerAsked(Strict):
    """Lamps over rippled water and the place one looks at."""

    emitters: Emitters
    x_cm: Place
    y_cm: Place
    depth_cm: Depth
    ripple_length_cm: RippleLength
    ripple_height_cm: RippleHeight
    refractive_index: Index = 1.339


class DirectionAnswer(Strict):
    """One way the ripples may run: 0 along x, 90 along y."""

    direction_deg: float
    survives: float
    contrast: float


class ShimmerAnswer(Strict):
    """survives: share of one small lamp's dance left. contrast: standard deviation over mean."""

    survives: float
    contrast: float
    word: str
    by_direction: list[DirectionAnswer]


@router.post("/api/shimmer", responses=RESPONSES, summary="How much the light will dance")
def shimmer(asked: ShimmerAsked) -> ShimmerAnswer:
    """Contrast of ripple-focused light that survives for a layout of emitters."""
    try:
        found = dance.shimmer(
            [one.emitter() for one in asked.emitters],
            x_cm=asked.x_cm,
            y_cm=asked.y_cm,
            depth_cm=asked.depth_cm,
            ripple=dance.Ripple(length_cm=asked.ripple_length_cm, height_cm=asked.ripple_height_cm),
            refractive_index=asked.refractive_index,
        )
    except ValueError as wrong:
        field = "ripple_height_cm" if "steepest" in str(wrong) else "emitters"
        words = (
            "must be at most 0.3 of the ripple's length" if "steepest" in str(wrong) else str(wrong)
        )
        raise Refusal(422, _NOT_TAKEN, errors=[(field, words)]) from wrong
    return ShimmerAnswer(
        survives=found.survives,
        contrast=found.contrast,
        word=found.word,
        by_direction=[
            DirectionAnswer(
                direction_deg=one.direction_deg, survives=one.survives, contrast=one.contrast
            )
            for one in found.by_direction
        ],
    )


class FileAnswer(Strict):
    """A photometric file, unfolded to the full circle; intensity in candela, one row per phi."""

    standard: str
    title: str
    flux_lm: float
    zonal_flux_lm: float
    lamp_lm: float | None
    light_output_ratio: float | None
    watts: float | None
    beam_across_deg: float
    beam_along_deg: float
    share_down: float
    opening_cm: tuple[float, float, float]
    notes: list[str]
    theta_deg: list[float]
    phi_deg: list[float]
    intensity_cd: list[list[float]]


@router.post("/api/photometric-file", responses=RESPONSES, summary="Read a photometric file")
def photometric_file(
    file: Annotated[UploadFile, File(description="LM-63 or EULUMDAT")],
) -> FileAnswer:
    """Reads LM-63 (1986 to 2019) and EULUMDAT; a broken file is refused by its line."""
    try:
        read = read_photometric_file(file.file.read(MAX_BYTES + 1))
    except BrokenFile as broken:
        raise Refusal(
            422, "The file could not be read.", errors=[("file", str(broken))]
        ) from broken
    table = read.table
    return FileAnswer(
        standard=read.standard,
        title=read.title,
        flux_lm=read.flux_lm,
        zonal_flux_lm=table.zonal_flux,
        lamp_lm=read.lamp_lm,
        light_output_ratio=read.light_output_ratio,
        watts=read.watts,
        beam_across_deg=table.beam_deg(0.0),
        beam_along_deg=table.beam_deg(90.0),
        share_down=table.share_down,
        opening_cm=read.opening_cm,
        notes=list(read.notes),
        theta_deg=table.theta_deg.tolist(),
        phi_deg=table.phi_deg.tolist(),
        intensity_cd=table.intensity.tolist(),
    )


def _light(record: dict[str, object]) -> Spectrum:
    try:
        return spectrum_from(record)
    except ValueError as wrong:
        raise Refusal(422, _NOT_TAKEN, errors=[("spectrum", str(wrong))]) from wrong


def _mix(light: Spectrum) -> dict[str, object]:
    usable, seen = usable_share(light), appearance(light)
    return {
        "bands": dict(light.band_shares),
        "blue_green_red": light.third_shares,
        "usable_by_symbionts": {"low": usable.low, "high": usable.high},
        "colour": {
            "x": seen.x,
            "y": seen.y,
            "srgb": seen.swatch,
            "on_screen": seen.on_screen,
        },
    }


def _at_depth(light: Spectrum, tint: Tint, depth_cm: float) -> AtDepth:
    return AtDepth(
        depth_cm=depth_cm,
        left=left_after(light, tint, depth_cm),
        mean_absorption_per_m=mean_absorption_per_m(light, tint, depth_cm),
        **_mix(at_path(light, tint, depth_cm)),
    )
