"""What readings make of a plan's light, as a factor at any place.

A setup's own readings count; where it has none, those of the latest earlier setup with the same
lamps are carried over, since the lamps' true output and the water are still the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from server.db import light, measured, tanks
from server.db.light import Hung
from server.db.measured import MeasuredRows
from server.models import Animal, Setup, Tank
from server.optics.field import at_points

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Surveyed:
    """Readings that speak for a setup: their rows, and the lamps they were taken under.

    `carried`: whether they were taken under an earlier setup.
    """

    rows: MeasuredRows
    hung: tuple[Hung, ...]
    carried: bool

    @property
    def count(self) -> int:
        return sum(len(survey.readings) for survey in self.rows.surveys)

    @property
    def taken_on(self) -> date:
        return max(survey.session.taken_on for survey in self.rows.surveys)


def surveyed(db: Session, tank: Tank, setup: Setup, *, on: date) -> Surveyed | None:
    """The readings that speak for a setup on a day; None where nobody measured these lamps."""
    own = measured.rows_of(db, tank, setup)
    if own.surveys:
        return Surveyed(rows=own, hung=light.hung_over(db, setup.id), carried=False)
    lamps = sorted(one.stated.row.id for one in own.hung)
    for earlier in tanks.setups_of(db, tank.id):
        if earlier.id == setup.id or earlier.state != "hung" or earlier.since > on:
            continue
        rows = measured.rows_of(db, tank, earlier)
        if rows.surveys and sorted(one.stated.row.id for one in rows.hung) == lamps:
            return Surveyed(rows=rows, hung=light.hung_over(db, earlier.id), carried=True)
    return None


def factors_at(found: Surveyed | None, tank: Tank, points_cm: FloatArray) -> FloatArray | None:
    """Measured over planned light at places (n, 3) in cm; None where there are no readings."""
    if found is None or not len(points_cm):
        return None
    account = measured.measured(found.rows)
    if account is None or not account.measured:
        return None
    scene = light.scene(tank, found.hung)
    planned = at_points(
        scene.tank,
        scene.water,
        scene.emitters,
        x_cm=points_cm[:, 0],
        y_cm=points_cm[:, 1],
        depth_cm=points_cm[:, 2],
    )
    known = account.map.at(points_cm).ppfd
    factors: FloatArray = known / np.maximum(planned, 1e-9)
    return factors


def places_of(tank: Tank, animals: Sequence[Animal]) -> FloatArray:
    """Where animals sit (n, 3) [cm]; one left outside is taken at the nearest place inside."""
    return np.array(
        [
            (
                min(animal.x_cm, tank.length_cm),
                min(animal.y_cm, tank.width_cm),
                min(animal.depth_cm, tank.depth_cm),
            )
            for animal in animals
        ],
        dtype=np.float64,
    ).reshape(-1, 3)
