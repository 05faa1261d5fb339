"""A tank's light as known best: corrected by its readings once there are some, else as planned."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.db import light
from server.db.light import Scene
from server.db.measured import MeasuredRows
from server.models import Animal
from server.web.measured import words
from server.web.planner import known
from server.web.planner.judge import judge_known
from server.web.tanks.judged import Judged, judge

PLANNED_SURE = (
    "Planned from the lamps' stated figures; nobody has measured this light yet, so each number "
    "may be off by a third."
)


@dataclass(frozen=True, kw_only=True)
class KnownLight:
    """Light, verdicts, and how sure they are. kind: 'as planned' or 'as measured'."""

    scene: Scene | None
    judged: tuple[Judged, ...]
    kind: str
    sure: str

    @property
    def measured(self) -> bool:
        return self.kind == "as measured"


def known_light(rows: MeasuredRows | None, animals: Sequence[Animal]) -> KnownLight:
    """The light of what hangs over a tank; `rows` is None where nothing ever hung."""
    if rows is None:
        return KnownLight(scene=None, judged=judge(animals, None), kind="as planned", sure="")
    found = known.measured_of(rows) if rows.surveys else None
    if found is None:
        scene = light.scene(rows.tank, rows.hung)
        sure = PLANNED_SURE if scene.emitters else ""
        return KnownLight(scene=scene, judged=judge(animals, scene), kind="as planned", sure=sure)
    places = _places(rows, animals)
    judged = known.judged(found.map, places, animals, np.ones(len(animals)))
    days = [survey.session.taken_on for survey in found.used]
    return KnownLight(
        scene=found.corrected,
        judged=judge_known(animals, judged),
        kind="as measured",
        sure=words.sure(
            float(np.median(known.at_animals(found.map, places).half_width)) if places else 0.1,
            len(found.map.used),
            days,
        ),
    )


def _places(
    rows: MeasuredRows, animals: Sequence[Animal]
) -> tuple[tuple[float, float, float], ...]:
    """Where the animals sit; one left outside by a smaller tank at the nearest place inside."""
    tank = rows.tank
    return tuple(
        (
            min(one.x_cm, tank.length_cm),
            min(one.y_cm, tank.width_cm),
            min(one.depth_cm, tank.depth_cm),
        )
        for one in animals
    )
