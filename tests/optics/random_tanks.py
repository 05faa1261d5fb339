"""Tanks drawn by chance, within what clubs own, for comparison with the photon tracer."""

import numpy as np

from server.optics.emitters import Emitter
from server.optics.tank import Tank, Wall, Walls, Water

_WATERS = (
    ((1.0, 0.0),),
    ((1.0, 0.1),),
    ((1.0, 0.6),),
    ((0.5, 0.02), (0.3, 0.15), (0.2, 0.9)),
)


def random_tank(seed: int) -> tuple[Tank, Water, list[Emitter]]:
    """A tank, its water and one to three lights, the same for the same seed."""
    rng = np.random.default_rng(seed)

    def wall() -> Wall:
        kind = rng.integers(5)
        return "clear" if kind < 3 else "black" if kind == 3 else round(rng.uniform(0.1, 0.9), 2)

    length, width = float(rng.choice([30, 60, 100, 150])), float(rng.choice([25, 30, 45, 60]))
    tank = Tank(
        length_cm=length,
        width_cm=width,
        depth_cm=float(rng.choice([15, 25, 40, 60])),
        walls=Walls(left=wall(), right=wall(), front=wall(), back=wall()),
        floor_albedo=float(rng.choice([0.0, 0.1, 0.3, 0.6])),
        cover=bool(rng.random() < 0.3),
    )
    water = Water(
        refractive_index=float(rng.choice([1.0, 1.33, 1.339, 1.345])),
        absorption=_WATERS[rng.integers(len(_WATERS))],
    )
    return tank, water, [_light(rng, length, width) for _ in range(rng.integers(1, 4))]


def _light(rng: np.random.Generator, length: float, width: float) -> Emitter:
    shape = str(rng.choice(["point", "tube", "square"]))
    return Emitter(
        shape=shape,
        x_cm=float(rng.uniform(-0.05, 1.05) * length),
        y_cm=float(rng.uniform(-0.05, 1.05) * width),
        height_cm=float(rng.uniform(8, 60)),
        ppf_umol_s=float(rng.uniform(20, 200)),
        beam_deg=float(rng.choice([40, 60, 90, 120, 150])),
        length_cm=float(rng.uniform(0.3, 1.0) * length) if shape == "tube" else None,
        side_cm=float(rng.uniform(3, 20)) if shape == "square" else None,
    )
