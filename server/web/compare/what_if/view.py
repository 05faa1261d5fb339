"""What trying other light on a tank shows: before, after, and the difference."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.account import sentences
from server.account.ability import SPLASH_CAUTION, splashed
from server.account.ability_words import heights_words
from server.account.account import AnimalLight
from server.account.known_light import KnownLight
from server.db.abilities import ability_of
from server.db.light import Stated, optics_tank
from server.db.tanks import LampPlace
from server.drawing.tank_view import TankView
from server.models import Member, Tank
from server.web import filters
from server.web.animal_marks import MARKS
from server.web.compare import chart
from server.web.compare.what_if.form import Tried, written
from server.web.forms import shown_length

CELLS = 32


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
    cautions: tuple[str, ...]
    sure: str
    lamps: tuple[str, ...]
    hidden: tuple[tuple[str, str], ...]
    difference: TankView | None
    difference_narrow: TankView | None
    after: TankView | None
    after_narrow: TankView | None
    animals: tuple[AnimalLine, ...]
    depth_words: str
    depth: str


@dataclass(frozen=True, kw_only=True)
class Light:
    """A tank's light as it hangs now and as tried, each as known best; None without any."""

    now: KnownLight | None
    tried: KnownLight | None
    lamps: tuple[LampPlace, ...]
    solved: bool
    animals_now: tuple[AnimalLight, ...]
    animals_tried: tuple[AnimalLight, ...]


def what_if_page(
    who: Member,
    tank: Tank,
    tried: Tried,
    light: Light,
    *,
    models: Mapping[int, Stated],
    whose: str,
) -> WhatIfView:
    depth = tried.depth_cm if tried.depth_cm is not None else _usual_depth(tank, light.animals_now)
    unit = who.length_unit
    charts = [_charts(light, tank, depth, unit, room) for room in (430.0, 268.0)]
    names = {key: one.row.name for key, one in models.items()}
    return WhatIfView(
        tank_id=tank.id,
        tank=tank.name,
        own=tank.owner_id == who.id,
        answer=_answer(light, tank, depth, unit),
        do=_do(light, names, unit),
        cautions=_cautions(light, tank, models, unit),
        sure=f"{whose} {_sure(light)}",
        lamps=tuple(_lamp_words(one, names, unit) for one in light.lamps),
        hidden=tuple(written(light.lamps)),
        difference=charts[0][0],
        difference_narrow=charts[1][0],
        after=charts[0][1],
        after_narrow=charts[1][1],
        animals=tuple(
            _animal(b, a) for b, a in zip(light.animals_now, light.animals_tried, strict=True)
        ),
        depth_words=filters.length(depth, unit),
        depth=shown_length(depth, unit),
    )


def _usual_depth(tank: Tank, animals: Sequence[AnimalLight]) -> float:
    depths = sorted(animal.depth_cm for animal in animals)
    return min(tank.depth_cm, depths[len(depths) // 2] if depths else round(tank.depth_cm / 2))


def _answer(light: Light, tank: Tank, depth: float, unit: str) -> str:
    if light.tried is None:
        return "Choose lamps to try over this tank"
    if light.animals_tried:
        now = sentences.count_words(light.animals_now)
        return f"{sentences.headline(light.animals_tried, 'would')} Now: {now}."
    means = [_mean(known, tank, depth) for known in (light.now, light.tried)]
    where = f"{filters.length(depth, unit)} down"
    return (
        f"The mean light {where} would go from {filters.ppfd(means[0])} "
        f"to {filters.ppfd(means[1])} µmol m⁻² s⁻¹."
    )


def _sure(light: Light) -> str:
    """What each side rests on."""
    told = [
        f"{side} {sentences.basis_words(known.basis)}"
        for side, known in (("Now", light.now), ("tried", light.tried))
        if known is not None
    ]
    return f"{', '.join(told)}; nothing moves a real lamp." if told else ""


def _do(light: Light, names: Mapping[int, str], unit: str) -> str:
    """What was found, lamp by lamp; said once where all are alike."""
    if not light.solved or light.tried is None:
        return ""
    told = [
        (names.get(one.lamp_model_id, "a lamp"), filters.length(one.height_cm, unit),
         filters.percent(one.power))
        for one in light.lamps
    ]  # fmt: skip
    if len({one[1:] for one in told}) == 1:
        return f"Hang them {told[0][1]} above the water at {told[0][2]}."
    each = "; ".join(f"{name} {height} above the water at {power}" for name, height, power in told)
    return f"Hang {each}."


def _cautions(light: Light, tank: Tank, models: Mapping[int, Stated], unit: str) -> tuple[str, ...]:
    """What belongs beside it: room too low for a lamp, and splash."""
    told = []
    for place in light.lamps:
        can = ability_of(models[place.lamp_model_id], tank, turned=place.turned)
        if not can.heights_cm:
            told.append(f"{can.name}: {heights_words(can, unit)}")
    if any(splashed(place.height_cm) for place in light.lamps):
        told.append(SPLASH_CAUTION)
    return tuple(dict.fromkeys(told))


def _mean(known: KnownLight | None, tank: Tank, depth_cm: float) -> float:
    return 0.0 if known is None else float(_field(known, tank, depth_cm).mean())


def _charts(
    light: Light, tank: Tank, depth_cm: float, unit: str, room: float
) -> tuple[TankView | None, TankView | None]:
    if light.tried is None:
        return None, None
    before, after = (_field(known, tank, depth_cm) for known in (light.now, light.tried))
    glass = optics_tank(tank)
    words = filters.length(depth_cm, unit)
    difference = chart.difference(before, after, glass, depth_words=words, unit=unit, room=room)
    drawn = chart.alone(
        after,
        glass,
        title=f"As tried, {words} deep",
        unit=unit,
        per_cm=room / tank.length_cm,
    )
    return difference, drawn


def _field(known: KnownLight | None, tank: Tank, depth_cm: float) -> chart.Floats:
    """PPFD over the depth as known best, (ny, nx); darkness without light."""
    cell = max(3.0, tank.length_cm / CELLS)
    nx, ny = max(1, round(tank.length_cm / cell)), max(1, round(tank.width_cm / cell))
    if known is None:
        return np.zeros((ny, nx))
    return _asked(known, (tank.length_cm, tank.width_cm), (nx, ny), depth_cm)


@lru_cache(maxsize=16)
def _asked(
    known: KnownLight, sides_cm: tuple[float, float], cells: tuple[int, int], depth_cm: float
) -> chart.Floats:
    """Remembered for the page's second size."""
    x, y = (
        (np.arange(count) + 0.5) / count * side for side, count in zip(sides_cm, cells, strict=True)
    )
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    points = np.column_stack([grid, np.full(len(grid), depth_cm)])
    return known.at(points).ppfd.reshape(cells[1], cells[0])


def _gets(one: AnimalLight) -> str:
    return f"{sentences.gets_words(one)} {sentences.spread_words(one)}".strip()


def _animal(before: AnimalLight, after: AnimalLight) -> AnimalLine:
    return AnimalLine(
        name=after.name,
        letter=after.letter,
        wants=sentences.wants_words(after),
        before=_gets(before),
        after=_gets(after),
        verdict=MARKS[after.verdict],
        words=sentences.verdict_words(after),
    )


def _lamp_words(one: LampPlace, names: Mapping[int, str], unit: str) -> str:
    x, y = (filters.length_number(value, unit) for value in (one.x_cm, one.y_cm))
    place = f"{x} right, {y} back"
    return (
        f"{names.get(one.lamp_model_id, 'a lamp')}: {filters.length(one.height_cm, unit)} above "
        f"the water at {filters.percent(one.power)}, {place}"
    )
