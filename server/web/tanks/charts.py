"""Charts of a tank with its lamps and animals: from above and from the front."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.account import sentences
from server.account.account import AnimalLight
from server.db.light import Hung, optics_tank
from server.drawing import axes, overheads, tank_view
from server.models import Tank
from server.optics.field import at_points, planes
from server.surveys.plan import Plan
from server.web import chart_levels, filters, rocks_seen
from server.web.animal_marks import MARKS

_SIZES = {"": (470.0, 300.0), "_narrow": (268.0, 250.0)}
"""Most room for a view inside its axes [SVG units]: across, and up."""
_AIR_CM = 12.0


@dataclass(frozen=True, kw_only=True)
class Charts:
    """The same two views, drawn for a desk and for a phone, and where a tap on them falls."""

    above: tank_view.TankView
    above_narrow: tank_view.TankView
    front: tank_view.TankView
    front_narrow: tank_view.TankView
    depth_words: str
    kind: str


def charts(
    tank: Tank,
    lit: Plan,
    hung: Sequence[Hung],
    animals: Sequence[AnimalLight],
    *,
    unit: str,
    depth_cm: float | None = None,
    kind: str = "as planned",
) -> Charts:
    """Light at one depth (that of the middle animal when not told) and across the middle."""
    depth = min(_usual_depth(tank, animals) if depth_cm is None else depth_cm, tank.depth_cm)
    above = _above_values(tank, lit, depth)
    front = _front_values(tank, lit)
    drawn = {}
    for name, (across, up) in _SIZES.items():
        per_cm = min(across / tank.length_cm, up / max(tank.width_cm, tank.depth_cm))
        drawn[f"above{name}"] = _above(tank, above, hung, animals, depth, unit, per_cm)
        drawn[f"front{name}"] = _front(tank, front, hung, animals, unit, per_cm)
    return Charts(**drawn, depth_words=filters.length(depth, unit), kind=kind)


def _usual_depth(tank: Tank, animals: Sequence[AnimalLight]) -> float:
    depths = sorted(one.depth_cm for one in animals)
    return depths[len(depths) // 2] if depths else tank.depth_cm / 2


def _above_values(tank: Tank, lit: Plan, depth_cm: float) -> np.ndarray:
    if not lit.emitters:
        return np.zeros((2, 2))
    cell = max(2.0, tank.length_cm / 40)
    return planes(lit.tank, lit.water, lit.emitters, depths_cm=(depth_cm,), cell_cm=cell)[0].ppfd


def _front_values(tank: Tank, lit: Plan) -> np.ndarray:
    """PPFD over the upright plane through the middle, shape (depths, across)."""
    if not lit.emitters:
        return np.zeros((2, 2))
    across, down = 32, 12
    x = (np.arange(across) + 0.5) / across * tank.length_cm
    depth = (np.arange(down) + 0.5) / down * tank.depth_cm
    found = at_points(
        lit.tank,
        lit.water,
        lit.emitters,
        x_cm=np.tile(x, down),
        y_cm=tank.width_cm / 2,
        depth_cm=np.repeat(depth, across),
    )
    return found.reshape(down, across)


def _above(
    tank: Tank,
    values: np.ndarray,
    hung: Sequence[Hung],
    animals: Sequence[AnimalLight],
    depth_cm: float,
    unit: str,
    per_cm: float,
) -> tank_view.TankView:
    light = "light in µmol m⁻² s⁻¹" if values.any() else "no light yet"
    return tank_view.plan(
        values,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=per_cm,
        unit=_unit(unit),
        levels=chart_levels.PPFD,
        title=f"{tank.name} from above, {filters.length(depth_cm, unit)} deep",
        description=f"{_size(tank, unit)}; {light}. {_told(animals)}",
        axis_words=f"{unit} from the left · front below",
        things=[
            tank_view.Thing(
                across=min(one.x_cm, tank.length_cm),
                along=min(one.y_cm, tank.width_cm),
                letter=one.letter,
                verdict=MARKS[one.verdict],
            )
            for one in animals
        ],
        overheads=[_from_above(one) for one in hung],
        blocks=rocks_seen.from_above(optics_tank(tank), depth_cm),
    )


def _front(
    tank: Tank,
    values: np.ndarray,
    hung: Sequence[Hung],
    animals: Sequence[AnimalLight],
    unit: str,
    per_cm: float,
) -> tank_view.TankView:
    highest = max((one.row.height_cm for one in hung), default=0.0)
    return tank_view.section(
        values,
        length=tank.length_cm,
        depth=tank.depth_cm,
        headroom=highest + _AIR_CM if hung else 4.0,
        per_cm=per_cm,
        unit=_unit(unit),
        levels=chart_levels.PPFD,
        title=f"{tank.name} from the front, across its middle",
        description=f"{_size(tank, unit)}. {_told(animals)}",
        axis_words=f"{unit} from the left · depth down the side",
        things=[
            tank_view.Thing(
                across=min(one.x_cm, tank.length_cm),
                along=min(one.depth_cm, tank.depth_cm),
                letter=one.letter,
                verdict=MARKS[one.verdict],
            )
            for one in animals
        ],
        overheads=[_from_front(one, unit) for one in hung],
        blocks=rocks_seen.from_front(optics_tank(tank), tank.width_cm / 2),
    )


def _from_above(one: Hung) -> overheads.Overhead:
    along, across = one.stated.lamp.layout.extent_cm
    width, length = (across, along) if one.row.turned else (along, across)
    return overheads.Overhead(
        across=one.row.x_cm, along=one.row.y_cm, width=width, length=length, words=""
    )


def _from_front(one: Hung, unit: str) -> overheads.Overhead:
    along, across = one.stated.lamp.layout.extent_cm
    return overheads.Overhead(
        across=one.row.x_cm,
        width=across if one.row.turned else along,
        height=one.row.height_cm,
        words=f"{filters.length(one.row.height_cm, unit)}, {filters.percent(one.row.power)}",
    )


def _unit(unit: str) -> axes.Unit:
    return axes.CENTIMETRES if unit == "cm" else axes.INCHES


def _size(tank: Tank, unit: str) -> str:
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    return " × ".join(filters.length_number(side, unit) for side in sides) + f" {unit}"


def _told(animals: Sequence[AnimalLight]) -> str:
    return (
        " ".join(f"{one.letter}: {one.name}, {sentences.verdict_words(one)}." for one in animals)
        or "No animals yet."
    )
