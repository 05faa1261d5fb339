"""What readings add to a plan: its numbers put right, what is left over, and how sure it is.

The left-over part and the doubt are smooth, so they are worked out once on a lattice of the tank
and read off in between: that is what lets a measured plan follow a slider.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from server.db import measured
from server.db.light import Hung
from server.db.measured import Measured, MeasuredRows
from server.models import Animal as AnimalRow
from server.models import Reading
from server.optics.lamp import Channel
from server.optics.tank import Tank
from server.surveys import advice, changed, verdict
from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Animal, Lamp, Plan, light_of
from server.surveys.verdict import Judged
from server.web.planner.draw import DoubtViews
from server.web.planner.light import Cuts, Lit, Places, Views

Floats = npt.NDArray[np.float64]

STEP_CM, LEAST, MOST = 10.0, 4, 12
"""Distance of the lattice's nodes, and how many there are along a side."""


@dataclass(frozen=True)
class _Asked:
    """Rows of a setup, alike when everything in them that bears on its map is alike."""

    content: tuple[object, ...]
    rows: MeasuredRows = field(compare=False)


def measured_of(rows: MeasuredRows) -> Measured | None:
    """The map of a setup, remembered by content; None where no reading takes part."""
    lamps = tuple(
        (
            *one.row.model_dump().values(),
            *one.stated.row.model_dump().values(),
            *((c.name, c.share, c.beam_deg, c.spectrum.power.tobytes()) for c in _channels(one)),
        )
        for one in rows.hung
    )
    readings = tuple(
        (survey.session.id, survey.session.taken_on, *(_content(row) for row in survey.readings))
        for survey in rows.surveys
    )
    return _measured(_Asked((*rows.tank.model_dump().values(), *lamps, *readings), rows))


def _channels(one: Hung) -> tuple[Channel, ...]:
    return one.stated.lamp.channels


def _content(row: Reading) -> tuple[object, ...]:
    return row.id, row.x_cm, row.y_cm, row.depth_cm, row.ppfd, row.shaded


@lru_cache(maxsize=32)
def _measured(asked: _Asked) -> Measured | None:
    found = measured.measured(asked.rows)
    return found if found is not None and found.measured else None


@dataclass(frozen=True, kw_only=True, eq=False)
class Lattice:
    """Left-over light (as a logarithm) and relative half-width on nodes (x, y, depth)."""

    x_cm: Floats
    y_cm: Floats
    depth_cm: Floats
    left_over: Floats
    half_width: Floats


@lru_cache(maxsize=32)
def lattice(found: MeasuredMap) -> Lattice:
    """Asked of the map once; maps of the same lamps and readings are the same object."""
    tank = found.plan.tank
    sides = [_nodes(side) for side in (tank.length_cm, tank.width_cm, tank.depth_cm)]
    points = np.stack([grid.ravel() for grid in np.meshgrid(*sides, indexing="ij")], axis=1)
    shape = tuple(side.size for side in sides)
    seen, right = found.at(points), found.corrected
    plain = np.maximum(light_of(right, right.emitters, points), 1e-6)
    return Lattice(
        x_cm=sides[0],
        y_cm=sides[1],
        depth_cm=sides[2],
        left_over=np.log(np.maximum(seen.ppfd, 1e-6) / plain).reshape(shape),
        half_width=seen.half_width.reshape(shape),
    )


def _nodes(side_cm: float) -> Floats:
    count = int(np.clip(round(side_cm / STEP_CM), LEAST, MOST))
    return np.linspace(0.03 * side_cm, 0.97 * side_cm, count)


@lru_cache(maxsize=32)
def put_right(found: MeasuredMap, lit: Lit) -> Lit:
    """Lamps at full power with what the readings say of output, beam, height and water."""
    fit = found.fit
    plan = Plan(
        tank=lit.tank,
        water=lit.water,
        lamps=tuple(Lamp(name="", emitters=emitters) for emitters in lit.full),
    )
    plan = changed.with_output(plan, tuple(one.value for one in fit.lamp_factors))
    if fit.beam_deg is not None and found.plan.beam_deg is not None:
        plan = changed.with_beam(plan, fit.beam_deg.value - found.plan.beam_deg)
    plan = changed.with_height(plan, fit.height_error_cm.value)
    tint = fit.absorption_per_m.value - found.plan.absorption_per_m
    plan = changed.with_absorption(plan, tint)
    return replace(lit, water=plan.water, full=tuple(lamp.emitters for lamp in plan.lamps))


def views(found: MeasuredMap, seen: Views, cuts: Cuts) -> tuple[Views, DoubtViews]:
    """The light of a plan put right, with the left-over part; and its doubt."""
    nodes, tank = lattice(found), found.plan.tank
    light, doubt = {}, {}
    for name, points in _points(tank, seen, cuts).items():
        values: Floats = getattr(seen, name)
        light[name] = values * np.exp(_read(nodes, nodes.left_over, points)).reshape(values.shape)
        doubt[name] = _read(nodes, nodes.half_width, points).reshape(values.shape)
    return Views(**light), DoubtViews(**doubt)


def _points(tank: Tank, seen: Views, cuts: Cuts) -> dict[str, Floats]:
    """Places of the cells of the three cuts, (n, 3) each."""
    (ny, nx), (levels, _), _ = seen.above.shape, seen.front.shape, seen.side.shape
    x, y = _centres(tank.length_cm, nx), _centres(tank.width_cm, ny)
    depth = _centres(tank.depth_cm, levels)
    return {
        "above": _grid(x[None, :], y[:, None], cuts.depth_cm),
        "front": _grid(x[None, :], cuts.front_y_cm, depth[:, None]),
        "side": _grid(cuts.side_x_cm, y[None, :], depth[:, None]),
    }


def _grid(x: Floats | float, y: Floats | float, depth: Floats | float) -> Floats:
    return np.stack([one.ravel() for one in np.broadcast_arrays(x, y, depth)], axis=1)


def _centres(extent_cm: float, count: int) -> Floats:
    return (np.arange(count) + 0.5) / count * extent_cm


def _read(nodes: Lattice, values: Floats, points: Floats) -> Floats:
    """Values between the nodes, straight along each side, held outside."""
    found = np.zeros(len(points))
    parts = [
        _share(axis, points[:, n])
        for n, axis in enumerate((nodes.x_cm, nodes.y_cm, nodes.depth_cm))
    ]
    for corner in range(8):
        up = [(corner >> n) & 1 for n in range(3)]
        index = tuple(at + step for (at, _), step in zip(parts, up, strict=True))
        weight = np.ones(len(points))
        for (_, share), step in zip(parts, up, strict=True):
            weight = weight * (share if step else 1 - share)
        found += weight * values[index]
    return found


def _share(axis: Floats, at: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
    held = np.clip(at, axis[0], axis[-1])
    low = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, axis.size - 2)
    return low, (held - axis[low]) / (axis[low + 1] - axis[low])


@lru_cache(maxsize=64)
def at_animals(found: MeasuredMap, places: Places) -> Estimate:
    """What the map says of the light at these places as it hangs now."""
    return found.at(np.array(places, dtype=np.float64).reshape(-1, 3))


def judged(
    found: MeasuredMap, places: Places, animals: Sequence[AnimalRow], factor: Floats
) -> tuple[Judged, ...]:
    """Verdicts where the light is `factor` of what hangs now, as surely as that is known."""
    if not animals:
        return ()
    wanting = [
        Animal(
            name=one.name,
            x_cm=x,
            y_cm=y,
            depth_cm=depth,
            low_ppfd=one.low_ppfd,
            high_ppfd=one.high_ppfd,
        )
        for one, (x, y, depth) in zip(animals, places, strict=True)
    ]
    return verdict.judged(
        advice.times(at_animals(found, places), np.maximum(factor, 1e-6)), wanting
    )
