"""Charts of several setups from above, at one depth and on one scale."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from server.comparing.side_by_side import Side
from server.db.comparisons import SetupRows
from server.drawing import axes, overheads, tank_view
from server.optics.field import at_points, planes
from server.optics.tank import Tank
from server.web import chart_levels, filters, rocks_seen

Floats = NDArray[np.float64]

LEVELS = chart_levels.PPFD

_CHANGES = (-200, -100, -50, -20, 20, 50, 100, 200)
CHANGE = tank_view.Levels(
    tints=(-50, -20, 20, 50),
    lines=(-200, -100, 100, 200),
    words=tuple((level, f"{level:+g}".replace("-", "−")) for level in _CHANGES),
    scheme="change",
)
"""Signed contours of a difference [µmol m⁻² s⁻¹]."""

_WIDE = 300.0
_NARROW = 268.0


def per_cm_for(sides: Sequence[Side], *, room: float = _WIDE) -> float:
    """SVG units per cm so that the longest of the tanks fits and all share one scale."""
    return room / max(side.tank.length_cm for side in sides)


def drawn(
    side: Side,
    rows: SetupRows,
    *,
    name: str,
    depth_cm: float,
    unit: str,
    per_cm: float,
    headroom: float | None,
) -> tank_view.TankView | None:
    """One setup from the front where a headroom is given, else from above at the depth.

    None where there is no water that deep.
    """
    if headroom is not None:
        return _from_front(side, rows, name=name, unit=unit, per_cm=per_cm, headroom=headroom)
    if depth_cm > side.tank.depth_cm:
        return None
    return _from_above(side, rows, name=name, depth_cm=depth_cm, unit=unit, per_cm=per_cm)


def _from_above(
    side: Side, rows: SetupRows, *, name: str, depth_cm: float, unit: str, per_cm: float
) -> tank_view.TankView:
    values = field_at(side, depth_cm)
    return tank_view.plan(
        values,
        length=side.tank.length_cm,
        width=side.tank.width_cm,
        per_cm=per_cm,
        unit=unit_of(unit),
        levels=LEVELS,
        blocks=rocks_seen.from_above(side.tank, depth_cm),
        title=f"{name} from above, {filters.length(depth_cm, unit)} deep",
        description=_range_words(values),
        axis_words=f"{unit} from the left wall",
        overheads=[
            overheads.Overhead(
                across=one.row.x_cm,
                along=one.row.y_cm,
                width=one.stated.lamp.layout.extent_cm[one.row.turned],
                length=one.stated.lamp.layout.extent_cm[not one.row.turned],
                words="",
            )
            for one in rows.hung
        ],
    )


def _from_front(
    side: Side, rows: SetupRows, *, name: str, unit: str, per_cm: float, headroom: float
) -> tank_view.TankView:
    values = section_at(side)
    return tank_view.section(
        values,
        length=side.tank.length_cm,
        depth=side.tank.depth_cm,
        headroom=headroom,
        per_cm=per_cm,
        unit=unit_of(unit),
        levels=LEVELS,
        blocks=rocks_seen.from_front(side.tank, side.tank.width_cm / 2),
        title=f"{name} from the front, across its middle",
        description=_range_words(values),
        axis_words=f"{unit} from the left wall",
        overheads=[
            overheads.Overhead(
                across=one.row.x_cm,
                width=one.stated.lamp.layout.extent_cm[one.row.turned],
                height=one.row.height_cm,
                words=filters.length(one.row.height_cm, unit),
            )
            for one in rows.hung
        ],
    )


def section_at(side: Side) -> Floats:
    """PPFD over the upright plane through the middle, shape (levels, across)."""
    if not side.emitters:
        return np.zeros((2, 2))
    across, down = 32, 12
    x = (np.arange(across) + 0.5) / across * side.tank.length_cm
    depth = (np.arange(down) + 0.5) / down * side.tank.depth_cm
    found = at_points(
        side.tank,
        side.water,
        side.emitters,
        x_cm=np.tile(x, down),
        y_cm=side.tank.width_cm / 2,
        depth_cm=np.repeat(depth, across),
    )
    return found.reshape(down, across)


def _range_words(values: Floats) -> str:
    return (
        f"PPFD from {filters.ppfd(float(np.nanmin(values)))} to "
        f"{filters.ppfd(float(np.nanmax(values)))} µmol m⁻² s⁻¹."
    )


def difference(
    before: Floats, after: Floats, tank: Tank, *, depth_words: str, unit: str, room: float
) -> tank_view.TankView:
    """After minus before over one tank at one depth, with signed contours."""
    change = after - before
    return tank_view.plan(
        change,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=room / tank.length_cm,
        unit=unit_of(unit),
        levels=CHANGE,
        title=f"What changes, {depth_words} deep",
        description=(
            f"From {filters.number(float(np.nanmin(change)))} to "
            f"{filters.number(float(np.nanmax(change)))} µmol m⁻² s⁻¹."
        ),
        axis_words=f"{unit} from the left wall",
    )


def alone(ppfd: Floats, tank: Tank, *, title: str, unit: str, per_cm: float) -> tank_view.TankView:
    """One depth of one tank from above."""
    return tank_view.plan(
        ppfd,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=per_cm,
        unit=unit_of(unit),
        levels=LEVELS,
        title=title,
        description=(
            f"PPFD from {filters.ppfd(float(np.nanmin(ppfd)))} to "
            f"{filters.ppfd(float(np.nanmax(ppfd)))} µmol m⁻² s⁻¹."
        ),
        axis_words=f"{unit} from the left wall",
    )


def field_at(side: Side, depth_cm: float) -> Floats:
    """PPFD over the depth, shape (ny, nx); darkness without lamps."""
    if not side.emitters:
        return np.zeros((2, 2))
    cell = max(2.0, side.tank.length_cm / 40)
    (plane,) = planes(side.tank, side.water, side.emitters, depths_cm=(depth_cm,), cell_cm=cell)
    return plane.ppfd


def unit_of(unit: str) -> axes.Unit:
    return axes.CENTIMETRES if unit == "cm" else axes.INCHES
