"""What trying other light on a tank shows: before, after, and the difference."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.comparing.which_lamp import Height
from server.db.light import Scene
from server.db.tanks import LampPlace
from server.drawing.tank_view import TankView
from server.models import Animal, Member, Tank
from server.optics.field import planes
from server.web import filters
from server.web.compare import chart
from server.web.compare.what_if.form import Tried, written
from server.web.tanks.judged import Judged, judge
from server.web.tanks.typed import shown_length


@dataclass(frozen=True, kw_only=True)
class AnimalLine:
    name: str
    letter: str
    wants: str
    before: str
    after: str
    verdict: str
    words: str


@dataclass(frozen=True, kw_only=True)
class WhatIfView:
    tank_id: int
    tank: str
    own: bool
    answer: str
    do: str
    sure: str
    lamps: tuple[str, ...]
    hidden: tuple[tuple[str, str], ...]
    difference: TankView | None
    difference_narrow: TankView | None
    after: TankView | None
    after_narrow: TankView | None
    animals: tuple[AnimalLine, ...]
    depth_words: str
    unit: str
    shelf: tuple[tuple[str, str], ...]
    back: str
    values: dict[str, str]
    errors: dict[str, str]


@dataclass(frozen=True, kw_only=True)
class Light:
    """A tank as it hangs now and as tried."""

    now: Scene
    tried: Scene
    lamps: tuple[LampPlace, ...]
    solved: Height | None


def what_if_page(
    who: Member,
    tank: Tank,
    animals: Sequence[Animal],
    tried: Tried,
    light: Light,
    *,
    names: Mapping[int, str],
    whose: str,
) -> WhatIfView:
    depth = tried.depth_cm if tried.depth_cm is not None else _usual_depth(tank, animals)
    unit = who.length_unit
    before = judge(animals, light.now if light.now.emitters else None)
    after = judge(animals, light.tried if light.tried.emitters else None)
    values = tried.values | {"depth": tried.values["depth"] or shown_length(depth, unit)}
    charts = [_charts(light, depth, unit, room) for room in (430.0, 268.0)]
    return WhatIfView(
        tank_id=tank.id,
        tank=tank.name,
        own=tank.owner_id == who.id,
        answer=_answer(before, after, light, depth, unit),
        do=_do(light, names, unit),
        sure=f"{whose} Both sides are as planned, not as measured; nothing moves a real lamp.",
        lamps=tuple(_lamp_words(one, names, unit) for one in light.lamps),
        hidden=tuple(written(light.lamps)),
        difference=charts[0][0],
        difference_narrow=charts[1][0],
        after=charts[0][1],
        after_narrow=charts[1][1],
        animals=tuple(_animal(b, a) for b, a in zip(before, after, strict=True)),
        depth_words=filters.length(depth, unit),
        unit=unit,
        shelf=(("", "no change"), *((str(key), name) for key, name in names.items())),
        back=tried.tank.wall_back,
        values=values,
        errors=tried.errors,
    )


def _usual_depth(tank: Tank, animals: Sequence[Animal]) -> float:
    depths = sorted(animal.depth_cm for animal in animals)
    return min(tank.depth_cm, depths[len(depths) // 2] if depths else round(tank.depth_cm / 2))


def _answer(
    before: Sequence[Judged], after: Sequence[Judged], light: Light, depth: float, unit: str
) -> str:
    if not light.tried.emitters:
        return "Choose lamps to try over this tank"
    if after:
        now, then = (sum(one.verdict == "within" for one in side) for side in (before, after))
        return f"{then} of {len(after)} animals would be in range; now it is {now}."
    means = [_mean(scene, depth) for scene in (light.now, light.tried)]
    where = f"{filters.length(depth, unit)} down"
    return (
        f"The mean light {where} would go from {filters.ppfd(means[0])} "
        f"to {filters.ppfd(means[1])} µmol m⁻² s⁻¹."
    )


def _do(light: Light, names: Mapping[int, str], unit: str) -> str:
    if light.solved is None or not light.lamps:
        return ""
    return (
        f"Hang them {filters.length(light.solved.height_cm, unit)} above the water "
        f"at {filters.percent(light.solved.power)}."
    )


def _mean(scene: Scene, depth_cm: float) -> float:
    if not scene.emitters:
        return 0.0
    (plane,) = planes(scene.tank, scene.water, scene.emitters, depths_cm=(depth_cm,), cell_cm=4)
    return plane.mean


def _charts(
    light: Light, depth_cm: float, unit: str, room: float
) -> tuple[TankView | None, TankView | None]:
    if not light.tried.emitters:
        return None, None
    before, after = (_field(scene, depth_cm) for scene in (light.now, light.tried))
    tank = light.tried.tank
    words = filters.length(depth_cm, unit)
    difference = chart.difference(before, after, tank, depth_words=words, unit=unit, room=room)
    drawn = chart.alone(
        after,
        tank,
        title=f"As tried, {words} deep",
        unit=unit,
        per_cm=room / tank.length_cm,
    )
    return difference, drawn


def _field(scene: Scene, depth_cm: float) -> chart.Floats:
    cell = max(2.0, scene.tank.length_cm / 40)
    if not scene.emitters:
        nx, ny = round(scene.tank.length_cm / cell), round(scene.tank.width_cm / cell)
        return np.zeros((max(1, ny), max(1, nx)))
    (plane,) = planes(scene.tank, scene.water, scene.emitters, depths_cm=(depth_cm,), cell_cm=cell)
    return plane.ppfd


def _animal(before: Judged, after: Judged) -> AnimalLine:
    return AnimalLine(
        name=after.animal.name,
        letter=after.letter,
        wants=after.range_words,
        before="–" if before.ppfd is None else filters.ppfd(before.ppfd),
        after="–" if after.ppfd is None else filters.ppfd(after.ppfd),
        verdict=after.verdict,
        words=after.words,
    )


def _lamp_words(one: LampPlace, names: Mapping[int, str], unit: str) -> str:
    x, y = (filters.length_number(value, unit) for value in (one.x_cm, one.y_cm))
    place = f"{x} right, {y} back"
    return (
        f"{names.get(one.lamp_model_id, 'a lamp')}: {filters.length(one.height_cm, unit)} above "
        f"the water at {filters.percent(one.power)}, {place}"
    )
