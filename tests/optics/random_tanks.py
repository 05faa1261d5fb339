"""Tanks drawn by chance, within what clubs own, for comparison with the photon tracer."""

from dataclasses import replace

import numpy as np

from server.optics.emitters import Emitter
from server.optics.tank import Brace, Film, Rock, Tank, Wall, Walls, Water

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


def furnished_tank(seed: int) -> tuple[Tank, Water, list[Emitter]]:
    """The same with rocks, and often braces, growth, a lid and leaning lamps."""
    tank, water, lights = random_tank(seed)
    rng = np.random.default_rng(1000 + seed)
    size = (tank.length_cm, tank.width_cm, tank.depth_cm)
    rocks = tuple(_rock(rng, size) for _ in range(rng.integers(1, 9)))
    braces = tuple(_brace(rng, size) for _ in range(rng.integers(0, 3)))
    film = Film(**{side: float(rng.choice([1.0, 0.5, rng.uniform(0, 1)]))
                   for side in ("left", "right", "front", "back")})  # fmt: skip
    lid = float(rng.choice([1.0, 0.8]))
    leaning = [
        replace(one, tilt_deg=float(rng.choice([0, rng.uniform(0, 40)])),
                toward_deg=float(rng.uniform(0, 360)), height_cm=max(one.height_cm, 20.0))
        for one in lights
    ]  # fmt: skip
    furnished = replace(tank, rocks=rocks, braces=braces, film=film, lid=lid)
    return furnished, water, leaning


def _rock(rng: np.random.Generator, size: tuple[float, float, float]) -> Rock:
    left, right = np.sort(rng.uniform(-0.1, 1.1, 2).clip(0, 1)) * size[0]
    front, back = np.sort(rng.uniform(-0.1, 1.1, 2).clip(0, 1)) * size[1]
    top = rng.uniform(0.15, 0.9) * size[2]
    bottom = None if rng.random() < 0.5 else float(rng.uniform(top + 0.5, size[2]))
    return Rock(
        left_cm=float(left), right_cm=float(max(right, left + 1)), front_cm=float(front),
        back_cm=float(max(back, front + 1)), top_cm=float(top), bottom_cm=bottom,
        albedo=float(rng.choice([0.0, 0.15, 0.5, 1.0])),
    ) if left + 1 < size[0] and front + 1 < size[1] else _rock(rng, size)  # fmt: skip


def _brace(rng: np.random.Generator, size: tuple[float, float, float]) -> Brace:
    if rng.random() < 0.5:
        left = float(rng.uniform(0, 0.8) * size[0])
        return Brace(left_cm=left, right_cm=left + 0.1 * size[0], front_cm=0, back_cm=size[1])
    return Brace(left_cm=0, right_cm=size[0], front_cm=0, back_cm=0.12 * size[1])
