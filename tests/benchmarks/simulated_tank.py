"""Simulated tanks and sessions: a brute-force field, a plan told wrong, and a member with a meter.

The fields are those of `tests/published/light_fields`. What is told wrong: output by 30 %, beam by
12–15°, absorption by up to 0.15 per metre (as one number, even where the truth has three parts).
A reading has 5 % error and is taken 1 cm off in every direction (normal, one standard deviation).
Half of the tanks hold something the model does not know: a shaded corner, one dirty wall, or one
depth misread by a whole level.
"""

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.tank import Tank, Walls, Water
from server.surveys.plan import Plan, Reading, lamps_from

Floats = NDArray[np.float64]

FIELDS = Path(__file__).parents[1] / "published" / "light_fields"
READING_ERROR = 0.05
PLACE_CM = 1.0


@dataclass
class TrueField:
    """A lit tank as brute force found it; `ppfd` (levels, ny, nx) is what a simulation changes."""

    name: str
    plan: Plan
    depths_cm: Floats
    x_cm: Floats
    y_cm: Floats
    ppfd: Floats
    by_walls: Floats

    def at(self, x_cm: float, y_cm: float, depth_cm: float) -> float:
        """PPFD anywhere: bilinear in the logarithm within a level, linear between levels."""
        log = np.log(np.maximum(self.ppfd, 1e-3))
        i, a = _between(self.x_cm, x_cm)
        j, b = _between(self.y_cm, y_cm)
        near = log[:, j, i] * (1 - a) + log[:, j, i + 1] * a
        far = log[:, j + 1, i] * (1 - a) + log[:, j + 1, i + 1] * a
        column = near * (1 - b) + far * b
        k, c = _between(self.depths_cm, depth_cm, beyond=True)
        return float(np.exp(column[k] * (1 - c) + column[k + 1] * c))

    @property
    def cells(self) -> tuple[Floats, Floats]:
        """Every cell's place (n, 3) and PPFD (n,)."""
        d, y, x = np.meshgrid(self.depths_cm, self.y_cm, self.x_cm, indexing="ij")
        return np.stack([x.ravel(), y.ravel(), d.ravel()], axis=1), self.ppfd.ravel()

    def level(self, depth_cm: float) -> float:
        """The level nearest to a depth: readings are taken on the levels that are known."""
        return float(self.depths_cm[np.argmin(np.abs(self.depths_cm - depth_cm))])


def fields() -> tuple[TrueField, ...]:
    """The six tanks."""
    return tuple(_field(json.loads(p.read_text())) for p in sorted(FIELDS.glob("*.json")))


def _field(told: dict) -> TrueField:
    tank = dict(told["request"]["tank"])
    tank["walls"] = Walls(**tank["walls"])
    asked = told["request"]["water"]
    bands = asked["absorption_per_m"]
    parts = tuple((s, a) for s, a in bands) if isinstance(bands, list) else ((1.0, bands),)
    water = Water(refractive_index=asked["refractive_index"], absorption=parts)
    lamps = lamps_from([Emitter(**e) for e in told["request"]["emitters"]])
    grid = told["grid"]
    return TrueField(
        name=told["name"],
        plan=Plan(tank=Tank(**tank), water=water, lamps=lamps),
        depths_cm=np.array([p["depth_cm"] for p in told["planes"]]),
        x_cm=(np.arange(grid["nx"]) + 0.5) * grid["dx_cm"],
        y_cm=(np.arange(grid["ny"]) + 0.5) * grid["dy_cm"],
        ppfd=np.array([p["ppfd"] for p in told["planes"]]),
        by_walls=np.array([p["walls"] for p in told["planes"]]),
    )


def _between(nodes: Floats, at: float, *, beyond: bool = False) -> tuple[int, float]:
    i = int(np.clip(np.searchsorted(nodes, at) - 1, 0, len(nodes) - 2))
    share = float((at - nodes[i]) / (nodes[i + 1] - nodes[i]))
    return i, share if beyond else float(np.clip(share, 0, 1))


@dataclass
class Session:
    """One member's session: what the tank is really like, what the plan says, what is unknown."""

    truth: TrueField
    told: Plan
    unknown: str
    rng: np.random.Generator
    misread: int = -1

    def read(self, place: Floats, number: int) -> Reading:
        """One reading near a place, on the nearest level that is known."""
        x, y = float(place[0]), float(place[1])
        depth = self.truth.level(float(place[2]))
        at = depth
        if number == self.misread:
            levels = list(self.truth.depths_cm)
            at = float(levels[(levels.index(depth) + self.rng.integers(1, 3)) % len(levels)])
        off = self.rng.normal(0, PLACE_CM, 3)
        light = self.truth.at(x + off[0], y + off[1], max(at + off[2], 0.5))
        ppfd = max(light * (1 + READING_ERROR * self.rng.normal()), 0.0)
        return Reading(x_cm=x, y_cm=y, depth_cm=depth, ppfd=ppfd)

    def unseen(self, count: int) -> tuple[Floats, Floats]:
        """Random cells and their true PPFD."""
        places, ppfd = self.truth.cells
        chosen = self.rng.choice(len(ppfd), min(count, len(ppfd)), replace=False)
        return places[chosen], ppfd[chosen]


def session(truth: TrueField, seed: tuple[int, ...], *, unknown: bool) -> Session:
    """A session on a tank, everything drawn from the seed."""
    rng = np.random.default_rng(seed)
    kind = str(rng.choice(["shaded corner", "dirty wall", "misread depth"])) if unknown else ""
    if kind == "dirty wall" and truth.by_walls.max() <= 0:
        kind = "shaded corner"  # black walls return nothing that dirt could take
    changed = replace(truth, ppfd=_with_unknown(truth, kind, rng))
    misread = int(rng.integers(0, 12)) if kind == "misread depth" else -1
    return Session(changed, _told_wrong(truth.plan, rng), kind, rng, misread)


def _with_unknown(truth: TrueField, kind: str, rng: np.random.Generator) -> Floats:
    tank = truth.plan.tank
    y, x = np.meshgrid(truth.y_cm, truth.x_cm, indexing="ij")
    if kind == "shaded corner":
        at_x, at_y = (side * rng.choice([0.08, 0.92]) for side in (tank.length_cm, tank.width_cm))
        away = ((x - at_x) ** 2 + (y - at_y) ** 2) / (0.25 * tank.width_cm) ** 2
        return truth.ppfd * (1 - 0.5 * np.exp(-away))
    if kind == "dirty wall":
        from_wall = {
            "left": x / tank.length_cm,
            "right": 1 - x / tank.length_cm,
            "front": y / tank.width_cm,
            "back": 1 - y / tank.width_cm,
        }[str(rng.choice(["left", "right", "front", "back"]))]
        return truth.ppfd - truth.by_walls * rng.uniform(0.3, 0.7) * np.exp(-from_wall / 0.4)
    return truth.ppfd


def _told_wrong(plan: Plan, rng: np.random.Generator) -> Plan:
    output = 1 + 0.3 * rng.choice([-1, 1])
    beam = rng.choice([-1, 1]) * rng.uniform(12, 15)
    absorption = max(0.0, plan.absorption_per_m + rng.uniform(-0.12, 0.15))
    emitters = [
        replace(e, ppf_umol_s=e.ppf_umol_s * output, beam_deg=(e.beam_deg or 90.0) + beam)
        for e in plan.emitters
    ]
    water = replace(plan.water, absorption=((1.0, absorption),))
    return replace(plan, water=water, lamps=lamps_from(emitters))


def regular_grid(truth: TrueField, shape: tuple[int, int, int]) -> Floats:
    """A regular grid of places as a careful member would lay it, (n, 3): middles of equal boxes."""
    nx, ny, levels = shape
    x = (np.arange(nx) + 0.5) / nx * truth.plan.tank.length_cm
    y = (np.arange(ny) + 0.5) / ny * truth.plan.tank.width_cm
    chosen = {1: [1], 2: [0, 2], 3: [0, 1, 2]}[levels]
    grids = np.meshgrid(x, y, truth.depths_cm[chosen], indexing="ij")
    return np.stack([g.ravel() for g in grids], axis=1)


def interpolated(readings: list[Reading], shape: tuple[int, int, int], places: Floats) -> Floats:
    """What a spreadsheet makes of a regular grid without a plan: linear between the readings."""
    values = np.array([r.ppfd for r in readings]).reshape(shape)
    axes = [
        np.unique([getattr(r, name) for r in readings]) for name in ("x_cm", "y_cm", "depth_cm")
    ]
    for axis, nodes in enumerate(axes):
        weights = _hats(nodes, places[:, axis])
        values = (
            np.tensordot(weights, values, axes=(1, 0))
            if axis == 0
            else np.einsum("nk,nk...->n...", weights, values)
        )
    return values


def _hats(nodes: Floats, at: Floats) -> Floats:
    """Weights of linear interpolation, the outer values kept beyond the ends."""
    return np.stack([np.interp(at, nodes, row) for row in np.eye(nodes.size)], axis=1)
