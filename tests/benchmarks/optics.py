"""How long the light engine takes, beside a plain photon tracer of equal accuracy.

Run: python -m tests.benchmarks.optics

Times are processor seconds of one core, so that a busy machine does not blur them; warm is the
best of several runs with everything remembered, cold the first run with nothing remembered. The
tracer (tests/optics/brute_force.py, plain numpy) follows a few hundred thousand photons of the
same scene; its time for cells as sure as the engine's (half a percent, the engine's median error
on the carried brute-force fields) is told from that by standard error ∝ 1/√photons.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from server.optics import diffuse, kernel
from server.optics.emitters import Emitter
from server.optics.field import planes
from server.optics.mounting import Target, mounting_height
from server.optics.tank import Tank, Walls, Water
from tests.optics.brute_force import trace

TANK = Tank(length_cm=120, width_cm=50, depth_cm=55, floor_albedo=0.3)
WATER = Water(absorption=((0.7, 0.05), (0.3, 0.4)))
VOLUME = tuple(1.0 + 2.0 * k for k in range(27))
TARGET = Target(low_ppfd=200, high_ppfd=350, depths_cm=(10, 25))
PHOTONS = 200_000
AS_SURE = 0.005


def lamps(count: int = 120, height_cm: float = 25.0) -> list[Emitter]:
    """Three lamps of `count` / 3 emitters each, 2.5 cm apart."""
    each = max(1, count // 3)
    wide = max(1, round((each * 1.6) ** 0.5))
    found = []
    for middle in (20.0, 60.0, 100.0):
        for k in range(each):
            i, j = k % wide, k // wide
            found.append(
                Emitter(
                    x_cm=middle + 2.5 * (i - (wide - 1) / 2),
                    y_cm=25 + 2.5 * (j - (each // wide - 1) / 2),
                    height_cm=height_cm,
                    ppf_umol_s=500.0 / (3 * each),
                    beam_deg=90,
                )
            )
    return found


def forget() -> None:
    for remembered in (kernel.kernel, diffuse._settled, diffuse._plane_response):
        remembered.cache_clear()


def seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def measured(work: Callable[[], object], runs: int) -> tuple[float, float]:
    """Cold and warm processor seconds."""
    forget()
    cold = seconds(work)
    return cold, min(seconds(work) for _ in range(runs))


def traced_seconds(depths_cm: tuple[float, ...], *, times: int = 1) -> tuple[float, float]:
    """Seconds the tracer takes for cells as sure as the engine's, and photons that takes."""
    start = time.process_time()
    found = trace(
        TANK, WATER, lamps(), depths_cm=depths_cm, cells=(60, 25), photons=PHOTONS, batches=10
    )
    spent = time.process_time() - start
    sure = float(np.median(found.se / np.maximum(found.ppfd, 1e-9)))
    factor = (sure / AS_SURE) ** 2
    return times * spent * factor, times * PHOTONS * factor


def line(name: str, cold: float, warm: float, asked: str, brute: tuple[float, float]) -> None:
    print(
        f"{name:44s} {1e3 * warm:8.1f} ms warm {1e3 * cold:8.0f} ms cold   {asked:22s}"
        f" tracer {brute[0]:8.0f} s ({brute[1] / 1e6:.0f} million photons), "
        f"{brute[0] / warm:,.0f} times"
    )


def figures() -> None:
    print("120 × 50 × 55 cm, clear walls, light floor, two colours, 3 lamps × 40 emitters\n")
    one = measured(lambda: planes(TANK, WATER, lamps(), depths_cm=[27], cell_cm=2), 7)
    line("one depth, 2 cm cells", *one, "under 25, aim 10 ms", traced_seconds((27.0,)))
    volume = measured(lambda: planes(TANK, WATER, lamps(), depths_cm=VOLUME, cell_cm=2), 3)
    line("whole volume, 60 × 25 × 27 cells", *volume, "under 300, aim 100 ms",
         traced_seconds(VOLUME))  # fmt: skip
    hang = measured(
        lambda: mounting_height(
            TANK, WATER, lamps(), target=TARGET, height_range_cm=(15, 60), power_range=(0.1, 1.0)
        ),
        3,
    )
    line("mounting height, 46 heights, two depths", *hang, "under 400, aim 150 ms",
         traced_seconds(TARGET.depths_cm, times=46))  # fmt: skip
    forget()
    tracemalloc.start()
    planes(TANK, WATER, lamps(), depths_cm=VOLUME, cell_cm=2)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    whole = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(
        f"\nmemory of the whole volume, cold: {peak / 2**20:.0f} MiB at the most "
        f"(asked: under 200); this whole run with the tracer: {whole / 2**10:.0f} MiB"
    )


def growth() -> None:
    def warm(**changes: object) -> float:
        tank = replace(TANK, walls=changes.get("walls", TANK.walls))
        many = lamps(int(changes.get("emitters", 120)))
        cell = float(changes.get("cell_cm", 2.0))
        return 1e3 * measured(lambda: planes(tank, WATER, many, depths_cm=[27], cell_cm=cell), 5)[1]

    print("\none depth, warm, as things grow")
    print("  emitters  " + "   ".join(f"{n}: {warm(emitters=n):.1f} ms" for n in (3, 30, 120, 390)))
    print("  cells     " + "   ".join(
        f"{c:g} cm: {warm(cell_cm=c):.1f} ms" for c in (8.0, 4.0, 2.0, 1.0, 0.5)))  # fmt: skip
    black = Walls(left="black", right="black", front="black", back="black")
    kinds = {
        "all black": black,
        "back diffuse 0.5, rest clear": Walls(back=0.5),
        "all clear": Walls(),
        "all diffuse 0.5": Walls(left=0.5, right=0.5, front=0.5, back=0.5),
    }
    print("  walls     " + "   ".join(
        f"{name}: {warm(walls=walls):.1f} ms" for name, walls in kinds.items()))  # fmt: skip


if __name__ == "__main__":
    figures()
    growth()
