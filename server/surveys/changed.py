"""The plan with one of its numbers changed: what the engine is asked when we ask 'what if'."""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

import numpy as np

from server.optics.emitters import LIMITS, Emitter
from server.optics.photometry import IntensityTable
from server.optics.tank import LIMITS as WATER_LIMITS
from server.optics.tank import Wall
from server.surveys.plan import Lamp, Plan

Bands = tuple[tuple[float, float], ...]
SIDES = ("left", "right", "front", "back")


def with_beam(plan: Plan, shift_deg: float) -> Plan:
    """Every stated beam wider by so many degrees, held within what a lens can be."""

    def wider(e: Emitter) -> Emitter:
        if e.intensity is not None or e.beam_deg is None:
            return e
        return replace(e, beam_deg=held("beam_deg", e.beam_deg + shift_deg))

    return with_emitters(plan, wider)


def with_absorption(plan: Plan, shift_per_m: float) -> Plan:
    """Every part of the light fading faster by so much per metre; never below none."""
    water = replace(plan.water, absorption=_shifted(plan.water.absorption, shift_per_m))

    def tinted(e: Emitter) -> Emitter:
        if e.absorption is None:
            return e
        return replace(e, absorption=_shifted(e.absorption, shift_per_m))

    return replace(with_emitters(plan, tinted), water=water)


def with_height(plan: Plan, shift_cm: float) -> Plan:
    """Every lamp higher over the water by so much."""
    return with_emitters(
        plan, lambda e: replace(e, height_cm=held("height_cm", e.height_cm + shift_cm))
    )


def with_place(plan: Plan, right_cm: float, back_cm: float) -> Plan:
    """Every lamp further to the right and to the back by so much."""

    def elsewhere(e: Emitter) -> Emitter:
        x_cm, y_cm = held("x_cm", e.x_cm + right_cm), held("y_cm", e.y_cm + back_cm)
        return replace(e, x_cm=x_cm, y_cm=y_cm)

    return with_emitters(plan, elsewhere)


def with_lean(plan: Plan, right_deg: float, back_deg: float) -> Plan:
    """Every lamp leaning further to the right and to the back by so much.

    Tubes do not lean lengthwise: hung by both ends, one would be a hand's breadth lower.
    """

    def leaning(e: Emitter) -> Emitter:
        along = e.along if e.shape == "tube" else ""
        if (right_deg == 0.0 or along == "x") and (back_deg == 0.0 or along == "y"):
            return e
        toward = np.radians(e.toward_deg)
        x = e.tilt_deg * np.cos(toward) + (0.0 if along == "x" else right_deg)
        y = e.tilt_deg * np.sin(toward) + (0.0 if along == "y" else back_deg)
        tilt, way = float(np.hypot(x, y)), float(np.degrees(np.arctan2(y, x)))
        return replace(e, tilt_deg=held("tilt_deg", tilt), toward_deg=way)

    return with_emitters(plan, leaning)


def with_wings(plan: Plan, peak_deg: float, dip: float) -> Plan:
    """Every lens one that throws two wings instead of one beam, at the same flux."""
    table = wings(peak_deg, dip)
    return with_emitters(plan, lambda e: replace(e, beam_deg=None, intensity=table))


WING_EDGE_DEG = 20.0
"""From a wing's brightest to its dark: lenses cut about this softly (our judgement)."""


@lru_cache(maxsize=64)
def wings(peak_deg: float, dip: float) -> IntensityTable:
    """A batwing: `dip` straight down, 1 at the peak, dark WING_EDGE_DEG beyond.

    To the peak it rises with the square of the angle, the first term any smooth lens that is
    alike all round can have; beyond it falls as half a cosine.
    """
    theta = np.arange(0.0, 90.1, 2.0)
    rise = dip + (1 - dip) * (theta / peak_deg) ** 2
    beyond = np.clip((theta - peak_deg) / WING_EDGE_DEG, 0.0, 1.0)
    fall = 0.5 + 0.5 * np.cos(np.pi * beyond)
    level = np.where(theta <= peak_deg, rise, fall)
    return IntensityTable(theta_deg=theta, phi_deg=np.zeros(1), intensity=level[None, :])


def with_output(plan: Plan, factors: tuple[float, ...]) -> Plan:
    """Each lamp's photon flux times its factor, in the order of the lamps."""
    lamps = tuple(
        replace(lamp, emitters=tuple(_brighter(e, factor) for e in lamp.emitters))
        for lamp, factor in zip(plan.lamps, factors, strict=True)
    )
    return replace(plan, lamps=lamps)


def with_wall(plan: Plan, side: str, wall: Wall) -> Plan:
    """One wall replaced."""
    walls = replace(plan.tank.walls, **{side: wall})
    return replace(plan, tank=replace(plan.tank, walls=walls))


def clear_sides(plan: Plan) -> tuple[str, ...]:
    """Walls that mirror light, and can lose some of it to dirt."""
    return tuple(side for side in SIDES if getattr(plan.tank.walls, side) == "clear")


def with_emitters(plan: Plan, change: Callable[[Emitter], Emitter]) -> Plan:
    """The plan with every emitter put through `change`."""
    lamps = tuple(
        Lamp(name=lamp.name, emitters=tuple(change(e) for e in lamp.emitters))
        for lamp in plan.lamps
    )
    return replace(plan, lamps=lamps)


def held(name: str, value: float) -> float:
    """A value brought within what an emitter accepts."""
    low, high = LIMITS[name]
    return min(max(value, low), high)


def _brighter(emitter: Emitter, factor: float) -> Emitter:
    return replace(emitter, ppf_umol_s=held("ppf_umol_s", emitter.ppf_umol_s * factor))


def _shifted(bands: Bands, shift_per_m: float) -> Bands:
    least, most = WATER_LIMITS["absorption_per_m"]
    return tuple((share, min(max(per_m + shift_per_m, least), most)) for share, per_m in bands)
