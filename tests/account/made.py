"""Tanks made up for tests: glass, animals, and lamps of every control, all from one seed."""

from dataclasses import dataclass

import numpy as np

from server.account.ability import Ability, Control, Dims, Hang, Hanging
from server.optics.emitters import Emitter
from server.optics.tank import Tank, Walls, Water
from server.surveys.plan import Animal, Lamp, Plan

RANGES = ((30.0, 120.0), (80.0, 200.0), (120.0, 240.0), (200.0, 350.0), (5.0, 60.0))
CONTROLS: tuple[tuple[Dims, Control], ...] = (
    ("smooth", "full"),
    ("steps", "programs"),
    ("no", "clock_switch"),
    ("no", "by_hand"),
)


@dataclass(frozen=True, kw_only=True)
class Made:
    plan: Plan
    animals: tuple[Animal, ...]
    hanging: tuple[Hanging, ...]


def made(seed: int, *, lamps: int | None = None, controls: object = CONTROLS) -> Made:
    """One tank; the lamps hang side by side along it, as their controls let them be set."""
    rng = np.random.default_rng(seed)
    tank = Tank(
        length_cm=float(rng.integers(50, 180)),
        width_cm=float(rng.integers(35, 75)),
        depth_cm=float(rng.integers(28, 70)),
        walls=Walls(left="clear", right="clear", front="clear", back="black"),
        floor_albedo=float(rng.choice([0.05, 0.4])),
        cover=False,
    )
    count = lamps or int(rng.integers(1, 4))
    size = float(rng.uniform(8, min(60.0, tank.length_cm / count - 2)))
    tubes = bool(rng.random() < 0.3)
    hanging, hung = [], []
    for n in range(count):
        dims, control = CONTROLS[int(rng.integers(len(CONTROLS)))]
        if isinstance(controls, tuple):
            dims, control = controls[int(rng.integers(len(controls)))]
        low = float(rng.integers(8, 26))
        can = Ability(
            name=f"lamp {n + 1}",
            dims=dims,
            control=control,
            least_level=float(rng.choice([0.05, 0.1, 0.3])),
            level_step={"smooth": 0.01, "steps": 0.05, "no": 1.0}[dims],
            size_cm=(size, 10.0),
            lowest_cm=low,
            highest_cm=low + float(rng.integers(0, 40)),
        )
        hang = Hang(
            power=float(rng.choice(can.levels)),
            height_cm=float(rng.choice(can.heights_cm)),
            x_cm=tank.length_cm * (n + 0.5) / count,
            y_cm=tank.width_cm / 2,
        )
        hanging.append(Hanging(hang=hang, ability=can))
        hung.append(_lamp(can, hang, rng, tubes=tubes))
    plan = Plan(tank=tank, water=Water(absorption=((0.5, 0.08), (0.5, 0.4))), lamps=tuple(hung))
    return Made(plan=plan, animals=_animals(tank, rng), hanging=tuple(hanging))


def _lamp(can: Ability, hang: Hang, rng: np.random.Generator, *, tubes: bool) -> Lamp:
    flux = float(rng.uniform(60, 400)) * hang.power
    if tubes:
        one = Emitter(
            shape="tube", x_cm=hang.x_cm, y_cm=hang.y_cm, height_cm=hang.height_cm,
            ppf_umol_s=flux, beam_deg=120, length_cm=can.size_cm[0],
        )  # fmt: skip
        return Lamp(name=can.name, emitters=(one,))
    beam, spots = float(rng.uniform(70, 120)), np.linspace(-0.4, 0.4, 4) * can.size_cm[0]
    emitters = tuple(
        Emitter(
            x_cm=hang.x_cm + float(s), y_cm=hang.y_cm, height_cm=hang.height_cm,
            ppf_umol_s=flux / 4, beam_deg=beam,
        )
        for s in spots
    )  # fmt: skip
    return Lamp(name=can.name, emitters=emitters)


def _animals(tank: Tank, rng: np.random.Generator) -> tuple[Animal, ...]:
    found = []
    for n in range(int(rng.integers(1, 8))):
        low, high = RANGES[int(rng.integers(len(RANGES)))]
        found.append(
            Animal(
                name=f"animal {n + 1}",
                x_cm=float(rng.uniform(3, tank.length_cm - 3)),
                y_cm=float(rng.uniform(3, tank.width_cm - 3)),
                depth_cm=float(rng.uniform(8, tank.depth_cm - 2)),
                low_ppfd=low,
                high_ppfd=high,
            )
        )
    return tuple(found)
