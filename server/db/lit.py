"""A tank under its lamps as the cuts take it: each lamp at full power, and how far it is up."""

from collections.abc import Sequence
from dataclasses import replace

from server.account.cuts import Lit
from server.db.light import Hung, emitters_of, optics_tank, water_of
from server.models import HungLamp, Tank


def lit(tank: Tank, hung: Sequence[Hung]) -> Lit:
    """The stored tank under its lamps as they hang."""
    return Lit(
        tank=optics_tank(tank),
        water=water_of(tank),
        full=tuple(emitters_of(tank, replace(one, row=_at_full(one.row))) for one in hung),
        powers=tuple(one.row.power for one in hung),
    )


def _at_full(row: HungLamp) -> HungLamp:
    """A row that is not stored: the same lamp at full power."""
    return HungLamp(**(row.model_dump() | {"power": 1.0}))
