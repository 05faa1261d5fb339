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


def ability_of(tank: Tank, stated: Stated, *, turned: bool = False) -> Ability:
    """What a model of the shelf can do over this tank."""
    row, (long, wide) = stated.row, stated.lamp.layout.extent_cm
    dims = dims_of("", row.kind, row.control)
    lowest, highest = _heights(tank, stated)
    return Ability(
        name=row.name,
        dims=dims,
        control=cast(Control, row.control),
        least_level=USUAL_LEAST_LEVEL,
        level_step=USUAL_STEPS[dims],
        size_cm=(wide, long) if turned else (long, wide),
        lowest_cm=lowest,
        highest_cm=highest,
        heights_stated=row.min_height_cm is not None and row.max_height_cm is not None,
    )


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
            ability=ability_of(tank, one.stated, turned=one.row.turned),
        )
        for one in hung
    )


def _heights(tank: Tank, stated: Stated) -> tuple[float, float]:
    """Lowest and highest as its papers say, else as usual; the room above the water caps it."""
    usual_low, usual_high = USUAL_HEIGHTS_CM
    lowest = stated.row.min_height_cm or min(usual_low, stated.row.max_height_cm or usual_low)
    highest = stated.row.max_height_cm or max(usual_high, lowest)
    return lowest, highest if tank.headroom_cm is None else min(highest, tank.headroom_cm)
