"""A tank with three lamps for tests of the measured map, and readings made from a tank's light."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.tank import Tank, Walls, Water
from server.surveys import places
from server.surveys.plan import Animal, Lamp, Plan, Reading

Floats = NDArray[np.float64]


def reef(*, beam_deg: float = 90.0) -> Plan:
    """120 × 50 × 52 cm, dark back wall, three lamps 22 cm up."""
    walls = Walls(left="clear", right="clear", front="clear", back="black")
    return Plan(
        tank=Tank(length_cm=120, width_cm=50, depth_cm=52, walls=walls, floor_albedo=0.1),
        water=Water(absorption=((1.0, 0.1),)),
        lamps=tuple(
            Lamp(name=f"lamp {n}", emitters=(_emitter(x, beam_deg),))
            for n, x in enumerate((20.0, 60.0, 100.0), 1)
        ),
    )


def _emitter(x_cm: float, beam_deg: float) -> Emitter:
    return Emitter(
        shape="square",
        x_cm=x_cm,
        y_cm=25,
        height_cm=22,
        ppf_umol_s=120,
        beam_deg=beam_deg,
        side_cm=10,
    )


def twelve(plan: Plan) -> Floats:
    """Twelve places spread over the tank and its depths, (12, 3)."""
    grid = places.even_grid(plan.tank, along=3, across=2, levels=2, edge=0.15)
    shift = np.array([[0, 0, 0], [4, 3, 4]])
    return np.asarray(places.reachable(plan.tank, grid + np.tile(shift, (6, 1))))


def read(plan: Plan, points: Floats, *, error: float = 0.0, seed: int = 1) -> list[Reading]:
    """What a meter with this error would show in this tank."""
    rng = np.random.default_rng(seed)
    light = plan.sensed(points) * (1 + error * rng.normal(size=len(points)))
    return [
        Reading(x_cm=float(x), y_cm=float(y), depth_cm=float(z), ppfd=float(e), name=f"Reading {n}")
        for n, ((x, y, z), e) in enumerate(zip(points, light, strict=True), 1)
    ]


def with_value(readings: Sequence[Reading], index: int, ppfd: float) -> list[Reading]:
    """The same readings with one value replaced."""
    changed = list(readings)
    changed[index] = replace(changed[index], ppfd=ppfd)
    return changed


def animal(name: str, place: Floats, low: float, high: float) -> Animal:
    x, y, z = (float(v) for v in place)
    return Animal(name=name, x_cm=x, y_cm=y, depth_cm=z, low_ppfd=low, high_ppfd=high)
