"""Rows turned into what each lamp can do: the one place that says so of a stored lamp."""

from collections.abc import Sequence
from typing import cast

from server.account.ability import (
    USUAL_HEIGHTS_CM,
    USUAL_LEAST_LEVEL,
    USUAL_STEPS,
    Ability,
    Control,
    Hang,
    Hanging,
    dims_of,
)
from server.db.light import Hung, Stated
from server.models import Tank

HOUSING_CM = 3.0
"""What a housing adds to the extent of a lamp's emitters (our assumption)."""


def ability_of(stated: Stated, tank: Tank | None = None, *, turned: bool = False) -> Ability:
    """What a model of the shelf can do, over this tank where one is meant."""
    row, (long, wide) = stated.row, stated.lamp.layout.extent_cm
    dims = dims_of(row.dims, row.kind, row.control)
    step = USUAL_STEPS[dims] if row.step_percent is None else row.step_percent / 100
    lowest, highest = _heights(stated, None if tank is None else tank.headroom_cm)
    return Ability(
        name=row.name,
        dims=dims,
        control=cast(Control, row.control),
        least_level=USUAL_LEAST_LEVEL if row.least_percent is None else row.least_percent / 100,
        level_step=1.0 if dims == "no" else step,
        size_cm=_housing(wide, long) if turned else _housing(long, wide),
        lowest_cm=lowest,
        highest_cm=highest,
        heights_stated=row.min_height_cm is not None and row.max_height_cm is not None,
    )


def power_set(one: Hung, share: float) -> float:
    """What a lamp is set to for a share of its power: the highest level it has, not above it.

    A lamp that was set to a level it does not have may stay at it.
    """
    wanted = min(one.row.power * share, 1.0)
    if share == 1.0 or not wanted:
        return wanted
    levels = ability_of(one.stated).levels
    return max((level for level in levels if level <= wanted + 1e-9), default=levels[0])


def hanging_of(tank: Tank, hung: Sequence[Hung]) -> tuple[Hanging, ...]:
    """How each lamp hangs, and what it can do."""
    return tuple(
        Hanging(
            hang=Hang(
                power=one.row.power,
                height_cm=one.row.height_cm,
                x_cm=one.row.x_cm,
                y_cm=one.row.y_cm,
            ),
            ability=ability_of(one.stated, tank, turned=one.row.turned),
        )
        for one in hung
    )


def _housing(along_x_cm: float, along_y_cm: float) -> tuple[float, float]:
    """Outer size of a lamp whose emitters spread so far."""
    return along_x_cm + HOUSING_CM, along_y_cm + HOUSING_CM


def _heights(stated: Stated, headroom_cm: float | None) -> tuple[float, float]:
    """Lowest and highest as its papers say, else as usual; the room above the water caps it."""
    usual_low, usual_high = USUAL_HEIGHTS_CM
    lowest = stated.row.min_height_cm or min(usual_low, stated.row.max_height_cm or usual_low)
    highest = stated.row.max_height_cm or max(usual_high, lowest)
    return lowest, highest if headroom_cm is None else min(highest, headroom_cm)
