"""Sessions on tanks with one hidden fault: the plan is believed, the tank is not as planned.

The fields are those of `tests/published/faulty_tanks`. Each session draws anew: output told wrong
by 25 %, up or down; readings on the planes that are known, 4 % error, 0.7 cm off along each side;
the factor of the meter, where its doubt is asked for.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.tank import Tank, Walls, Water
from server.surveys import changed
from server.surveys.plan import Animal, Plan, Reading, lamps_from

Floats = NDArray[np.float64]

FOLDER = Path(__file__).parents[1] / "published" / "faulty_tanks"
READING_ERROR = 0.04
PLACE_CM = 0.7
TOLD_WRONG = 0.25
SHADED = 0.8  # share of the planned light below which a place counts as shaded


@dataclass(frozen=True, kw_only=True, eq=False)
class FaultyTank:
    """A plan and what the light is really like; ppfd (levels, ny, nx), NaN inside rocks.

    clean: the same tank as planned. kind: "clean", "dead", "dim", "film", "lens", "moved",
    "rock" or "tilt".
    """

    name: str
    kind: str
    fault: str
    plan: Plan
    depths_cm: Floats
    ppfd: Floats
    clean: Floats

    @property
    def x_cm(self) -> Floats:
        return self._middles(self.plan.tank.length_cm, self.ppfd.shape[2])

    @property
    def y_cm(self) -> Floats:
        return self._middles(self.plan.tank.width_cm, self.ppfd.shape[1])

    @staticmethod
    def _middles(side_cm: float, cells: int) -> Floats:
        return (np.arange(cells) + 0.5) * side_cm / cells

    def level(self, depth_cm: float) -> int:
        return int(np.argmin(np.abs(self.depths_cm - depth_cm)))

    def free(self, x_cm: float, y_cm: float, level: int) -> tuple[float, float]:
        """The nearest place on a level that is not inside a rock."""
        j, i = self._cell(x_cm, y_cm)
        if np.isfinite(self.ppfd[level, j, i]):
            return x_cm, y_cm
        y, x = np.meshgrid(self.y_cm, self.x_cm, indexing="ij")
        away = np.hypot(x - x_cm, y - y_cm) + 1e6 * ~np.isfinite(self.ppfd[level])
        j, i = np.unravel_index(int(np.argmin(away)), away.shape)
        return float(self.x_cm[i]), float(self.y_cm[j])

    def at(self, x_cm: float, y_cm: float, level: int) -> float:
        """PPFD on a level: bilinear in the logarithm; beside a rock that of the cell."""
        i, a = _between(self.x_cm, x_cm)
        j, b = _between(self.y_cm, y_cm)
        corners = self.ppfd[level, j : j + 2, i : i + 2]
        if not np.all(np.isfinite(corners)):
            return float(self.ppfd[level][self._cell(*self.free(x_cm, y_cm, level))])
        log = np.log(np.maximum(corners, 1e-3))
        across = log[:, 0] * (1 - a) + log[:, 1] * a
        return float(np.exp(across[0] * (1 - b) + across[1] * b))

    def _cell(self, x_cm: float, y_cm: float) -> tuple[int, int]:
        j = int(np.argmin(np.abs(self.y_cm - y_cm)))
        return j, int(np.argmin(np.abs(self.x_cm - x_cm)))


@lru_cache(maxsize=1)
def tanks() -> tuple[FaultyTank, ...]:
    """All of them, by name."""
    told = json.loads((FOLDER / "tanks.json").read_text())
    with np.load(FOLDER / "ppfd.npz") as fields:
        ppfd = {name: np.asarray(fields[name], dtype=np.float64) for name in told}
    return tuple(
        FaultyTank(
            name=name,
            kind=name.split("_")[1],
            fault=one["fault"],
            plan=_plan(one["request"]),
            depths_cm=np.array(one["request"]["depths_cm"]),
            ppfd=ppfd[name],
            clean=ppfd[f"{name.split('_')[0]}_clean"],
        )
        for name, one in told.items()
    )


def _plan(request: dict) -> Plan:
    tank = dict(request["tank"])
    tank["walls"] = Walls(**tank["walls"])
    asked = request["water"]
    bands = asked["absorption_per_m"]
    parts = tuple((s, a) for s, a in bands) if isinstance(bands, list) else ((1.0, bands),)
    emitters = [Emitter(**{k: v for k, v in e.items() if k != "lamp"}) for e in request["emitters"]]
    return Plan(
        tank=Tank(**tank),
        water=Water(refractive_index=asked["refractive_index"], absorption=parts),
        lamps=lamps_from(emitters),
    )


def _between(nodes: Floats, at: float) -> tuple[int, float]:
    i = int(np.clip(np.searchsorted(nodes, at) - 1, 0, len(nodes) - 2))
    return i, float(np.clip((at - nodes[i]) / (nodes[i + 1] - nodes[i]), 0.0, 1.0))


@dataclass
class Visit:
    """One member with a meter at one tank."""

    truth: FaultyTank
    told: Plan
    rng: np.random.Generator
    factor: float = 1.0
    readings: list[Reading] = field(default_factory=list)

    def read(self, place: Floats) -> Reading:
        """One reading near a place, on the nearest level that is known."""
        level = self.truth.level(float(place[2]))
        x, y = self.truth.free(float(place[0]), float(place[1]), level)
        off = self.rng.normal(0.0, PLACE_CM, 2)
        light = self.truth.at(x + off[0], y + off[1], level)
        shown = max(light * self.factor * (1 + READING_ERROR * self.rng.normal()), 0.0)
        depth = float(self.truth.depths_cm[level])
        return Reading(x_cm=x, y_cm=y, depth_cm=depth, ppfd=shown, key=len(self.readings))

    def take(self, place: Floats) -> None:
        self.readings.append(self.read(place))

    def unseen(self, count: int) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Random cells, their true PPFD, and whether something shades them."""
        truth = self.truth
        d, y, x = np.meshgrid(truth.depths_cm, truth.y_cm, truth.x_cm, indexing="ij")
        free = np.flatnonzero(np.isfinite(truth.ppfd.ravel()))
        chosen = self.rng.choice(free, min(count, len(free)), replace=False)
        places = np.stack([a.ravel()[chosen] for a in (x, y, d)], axis=1)
        real = truth.ppfd.ravel()[chosen]
        shaded = (real < SHADED * truth.clean.ravel()[chosen]) & (truth.kind == "rock")
        return places, real, shaded

    def animals(self, count: int) -> list[Animal]:
        """Animals anywhere an arm reaches, with ranges as wide as their keepers' tables are.

        Half of them want the light they have, the others more or less.
        """
        places, real, _ = self.unseen(count)
        wanted = real * np.exp(self.rng.normal(0.0, 0.5, count))
        return [
            Animal(
                name=f"animal {n}",
                x_cm=float(p[0]),
                y_cm=float(p[1]),
                depth_cm=float(p[2]),
                low_ppfd=float(0.65 * e),
                high_ppfd=float(1.5 * e),
            )
            for n, (p, e) in enumerate(zip(places, wanted, strict=True))
        ]


def visit(truth: FaultyTank, seed: Sequence[int], *, meter: float = 0.0) -> Visit:
    """A visit with everything drawn from the seed; meter: standard error of its factor."""
    rng = np.random.default_rng(list(seed))
    factor = 1 + TOLD_WRONG * float(rng.choice([-1.0, 1.0]))
    told = changed.with_output(truth.plan, (factor,) * len(truth.plan.lamps))
    return Visit(truth, told, rng, factor=float(np.exp(meter * rng.normal())))


def grid(truth: FaultyTank) -> Floats:
    """4 × 2 × 3 places as a careful member would lay them: middles of equal boxes, (24, 3)."""
    tank = truth.plan.tank
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    axes = [(np.arange(n) + 0.5) / n * s for n, s in zip((4, 2, 3), sides, strict=True)]
    grids = np.meshgrid(*axes, indexing="ij")
    return np.stack([g.ravel() for g in grids], axis=1)


def with_slip(readings: Sequence[Reading], index: int, factor: float) -> list[Reading]:
    """The same readings with the digits of one slipped."""
    changed_ones = list(readings)
    changed_ones[index] = replace(changed_ones[index], ppfd=changed_ones[index].ppfd * factor)
    return changed_ones
