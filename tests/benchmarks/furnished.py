"""How right and how quick the light is in furnished tanks.

Run: python -m tests.benchmarks.furnished

Errors against ten billion photons (tests/published/furnished_fields), cells against the larger of
the cell and 3 % of the depth's maximum. Times are processor milliseconds of one core: cold with
nothing remembered of the tank, warm the best of several runs; "lamp moved" has all of the tank
remembered and nothing of the lamps, as while a slider is dragged.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from server.optics import among_rocks
from server.optics.field import at_points, planes, share_into_water
from server.optics.rocks import inside
from server.optics.tank import Rock
from tests.benchmarks.optics import TANK, WATER, forget, lamps
from tests.optics.scenes import FURNISHED_NAMES, furnished


def some_rocks(count: int) -> tuple[Rock, ...]:
    """Blocks and ledges strewn over the benchmark's tank, the same every time."""
    rng = np.random.default_rng(5)
    found = []
    for k in range(count):
        left, front, top = rng.uniform(2, 100), rng.uniform(2, 34), rng.uniform(15, 40)
        found.append(
            Rock(
                left_cm=left,
                right_cm=left + rng.uniform(6, 18),
                front_cm=front,
                back_cm=front + rng.uniform(6, 14),
                top_cm=top,
                bottom_cm=None if k % 2 else top + rng.uniform(3, 12),
            )
        )
    return tuple(found)


def errors() -> None:
    print("tank                       depth   mean      off    median    95th   worst")
    for name in FURNISHED_NAMES:
        case = furnished(name)
        found = planes(case.tank, case.water, case.emitters, depths_cm=case.depths_cm, cell_cm=2)
        share = share_into_water(case.tank, case.water, case.emitters)
        print(f"{name}: share into water {share:.5f}, traced {case.share_into_water:.5f}")
        for plane, mean, ppfd in zip(found, case.means, case.ppfd, strict=True):
            free = np.isfinite(ppfd)
            off = plane.ppfd[free] - ppfd[free]
            cell = 100 * np.abs(off) / np.maximum(ppfd[free], 0.03 * ppfd[free].max())
            print(
                f"{'':26s} {plane.depth_cm:5.1f} {mean:7.2f}  {100 * off.mean() / mean:+6.2f} %"
                f"  {np.median(cell):5.2f} %  {np.percentile(cell, 95):5.2f} %  {cell.max():5.1f} %"
            )


def milliseconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return 1e3 * (time.process_time() - start)


def times() -> None:
    print("\n120 × 50 × 55 cm, clear walls, two colours, 3 lamps × 40 emitters, 2 cm cells")
    for count in (0, 8, 12, 40):
        tank = replace(TANK, rocks=some_rocks(count))
        places = animals(tank)

        def one(tank=tank, height: float = 25.0) -> object:
            return planes(tank, WATER, lamps(height_cm=height), depths_cm=[50], cell_cm=2)

        def sat(tank=tank, places=places) -> object:
            return at_points(tank, WATER, lamps(), **places)

        forget()
        for remembered in (among_rocks._faces_seen, among_rocks._plane_seen):
            remembered.cache_clear()
        cold = milliseconds(one)
        warm = min(milliseconds(one) for _ in range(7))
        slider = min(milliseconds(partial(one, height=20.0 + k)) for k in range(7))
        at_first = milliseconds(sat)
        again = min(milliseconds(sat) for _ in range(7))
        print(
            f"{count:3d} rocks: one depth {warm:6.1f} warm {cold:6.0f} cold, lamp moved "
            f"{slider:6.1f}; 20 animals {again:5.1f} warm {at_first:5.0f} new"
        )


def animals(tank) -> dict[str, np.ndarray]:
    """Twenty places outside all rocks."""
    rng = np.random.default_rng(1)
    places = rng.uniform((1, 1, 5), (119, 49, 54), (200, 3))
    x, y, z = places[inside(tank, *places.T) < 0][:20].T
    return {"x_cm": x, "y_cm": y, "depth_cm": z}


if __name__ == "__main__":
    errors()
    times()
