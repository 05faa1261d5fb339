"""What a light is made of, in air and after its way through the water."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.optics.colour import Appearance, appearance
from server.optics.seawater import REEF_SALINITY, REEF_TEMPERATURE_C, mean_refractive_index
from server.optics.spectrum import Spectrum
from server.optics.symbionts import Usable, usable_share
from server.optics.tint import (
    Tint,
    absorption_bands,
    at_path,
    left_after,
    mean_absorption_per_m,
)


@dataclass(frozen=True, kw_only=True)
class LightMix:
    """Shares of the PAR photons: by colour band, by thirds, for symbionts; and how it looks."""

    bands: dict[str, float]
    thirds: tuple[float, float, float]
    usable: Usable
    colour: Appearance


@dataclass(frozen=True, kw_only=True)
class MixAtDepth:
    """The light after a vertical path [cm]: its mix, the share left, and K [m⁻¹]."""

    depth_cm: float
    mix: LightMix
    left: float
    mean_absorption_per_m: float


@dataclass(frozen=True, kw_only=True)
class LightInWater:
    """A light and the water it goes through. absorption: (share, m⁻¹) parts for the engine."""

    spectrum: Spectrum
    refractive_index: float
    absorption: tuple[tuple[float, float], ...]
    in_air: LightMix
    at_depth: tuple[MixAtDepth, ...]


def light_mix(light: Spectrum) -> LightMix:
    """What the light is made of."""
    return LightMix(
        bands=dict(light.band_shares),
        thirds=light.third_shares,
        usable=usable_share(light),
        colour=appearance(light),
    )


def mix_at_depth(light: Spectrum, tint: Tint, depth_cm: float) -> MixAtDepth:
    """The same after `depth_cm` of this water."""
    return MixAtDepth(
        depth_cm=depth_cm,
        mix=light_mix(at_path(light, tint, depth_cm)),
        left=left_after(light, tint, depth_cm),
        mean_absorption_per_m=mean_absorption_per_m(light, tint, depth_cm),
    )


def light_in_water(
    light: Spectrum,
    tint: Tint,
    *,
    depths_cm: Sequence[float],
    salinity: float = REEF_SALINITY,
    temperature_c: float = REEF_TEMPERATURE_C,
) -> LightInWater:
    """In air and at each depth. salinity [g/kg]; errors as of the functions it calls."""
    return LightInWater(
        spectrum=light,
        refractive_index=mean_refractive_index(
            light, salinity=salinity, temperature_c=temperature_c
        ),
        absorption=tuple(absorption_bands(light, tint)),
        in_air=light_mix(light),
        at_depth=tuple(mix_at_depth(light, tint, depth) for depth in depths_cm),
    )
