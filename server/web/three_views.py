"""The three views of a tank's light, on one scale: wide for a desk, narrow for a phone."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.account import sentences
from server.account.account import AnimalLight
from server.account.cuts import Cuts, DoubtViews, Views
from server.db.light import Hung, optics_tank
from server.db.tanks import LampPlace
from server.drawing import axes, tank_view
from server.drawing.overheads import Overhead
from server.drawing.tank_view import Doubt, Levels, Point, TankView, Thing
from server.models import Animal, Tank
from server.web import chart_levels, filters, rocks_seen
from server.web.animal_marks import MARKS

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]

SHEET = 1116.0
"""Width of the two upper views and the gap between them on a desk screen [SVG units]."""
GAP = 24.0
PHONE = 328.0
MOST_PER_CM = 9.0
TALLEST = 560.0
"""Water and air together are never drawn taller than this [SVG units]."""
MARGINS = tank_view.LEFT + tank_view.RIGHT
NEAR_DEPTH_CM, NEAR_CUT_CM = 4.0, 6.0
"""Readings this close to a cut are printed on it."""


@dataclass(frozen=True, kw_only=True)
class Sounded:
    """A reading to be printed on the charts."""

    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float


@dataclass(frozen=True, kw_only=True)
class Drawings:
    """The views of one plan at one size."""

    above: TankView
    front: TankView
    side: TankView


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Everything the three views show."""

    tank: Tank
    hung: Sequence[Hung]
    places: Sequence[LampPlace]
    animals: Sequence[AnimalLight]
    cuts: Cuts
    light: Views
    levels: Levels
    unit: str
    soundings: Sequence[Sounded] = ()
    doubt: DoubtViews | None = None
    kind: str = "planned"


def wide(of: Picture) -> Drawings:
    """For a desk: front and side beside each other, the view from above under the front."""
    tank = of.tank
    room = SHEET - GAP - 2 * MARGINS
    per_cm = min(
        room / (tank.length_cm + tank.width_cm),
        TALLEST / (headroom(of) + tank.depth_cm),
        MOST_PER_CM,
    )
    return Drawings(
        above=_above(of, per_cm, words=True),
        front=_front(of, per_cm, words=True),
        side=_side(of, per_cm, words=False),
    )


def narrow(of: Picture) -> Drawings:
    """For a phone: one under another, the same letters on narrower charts."""
    tank, room = of.tank, PHONE - MARGINS
    per_cm = min(room / tank.length_cm, MOST_PER_CM)
    aside = min(room / tank.width_cm, 1.6 * per_cm, MOST_PER_CM)
    return Drawings(
        above=_above(of, per_cm, words=False),
        front=_front(of, per_cm, words=False),
        side=_side(of, aside, words=False),
    )


def usual_depth(tank: Tank, animals: Sequence[Animal]) -> float:
    """The depth of the middle animal [cm]; half-way down where there is none."""
    depths = sorted(animal.depth_cm for animal in animals)
    return min(depths[len(depths) // 2] if depths else tank.depth_cm / 2, tank.depth_cm)


def headroom(of: Picture) -> float:
    """Air to draw [cm]: in steps, so that the page stands still while a lamp is raised."""
    highest = max((place.height_cm for place in of.places), default=0.0)
    return 20.0 * math.ceil((highest + 3.0) / 20.0)


def change(of: Picture, difference: Floats, *, width: float) -> TankView:
    """What the plan changes against what hangs now, from above."""
    depth = filters.length(of.cuts.depth_cm, of.unit)
    return tank_view.plan(
        difference,
        length=of.tank.length_cm,
        width=of.tank.width_cm,
        per_cm=min((width - MARGINS) / of.tank.length_cm, MOST_PER_CM),
        unit=_unit(of.unit),
        levels=chart_levels.change(float(np.nanmax(np.abs(difference)))),
        title=f"What would change, from above, {depth} deep",
        description=(
            f"From {chart_levels.signed(round(float(np.nanmin(difference))))} to "
            f"{chart_levels.signed(round(float(np.nanmax(difference))))} µmol m⁻² s⁻¹ against the "
            "light as it hangs now."
        ),
        axis_words=f"{of.unit} from the left wall · front wall below",
        blocks=rocks_seen.from_above(optics_tank(of.tank), of.cuts.depth_cm),
        things=_things(of, lambda a: (a.x_cm, a.y_cm), words=False),
    )


def _above(of: Picture, per_cm: float, *, words: bool) -> TankView:
    depth = filters.length(of.cuts.depth_cm, of.unit)
    near = [s for s in of.soundings if abs(s.depth_cm - of.cuts.depth_cm) <= NEAR_DEPTH_CM]
    return tank_view.plan(
        of.light.above,
        length=of.tank.length_cm,
        width=of.tank.width_cm,
        per_cm=per_cm,
        unit=_unit(of.unit),
        levels=of.levels,
        title=f"{of.tank.name} from above, {depth} deep, {of.kind}",
        description=_described(of, of.light.above),
        axis_words=f"{of.unit} from the left wall · front wall below",
        things=_things(of, lambda a: (a.x_cm, a.y_cm), words=words, wants=False),
        points=[Point(across=s.x_cm, along=s.y_cm, words=filters.ppfd(s.ppfd)) for s in near],
        overheads=[_from_above(one, place) for one, place in zip(of.hung, of.places, strict=True)],
        cut_across=of.cuts.side_x_cm,
        cut_along=of.cuts.front_y_cm,
        blocks=rocks_seen.from_above(optics_tank(of.tank), of.cuts.depth_cm),
        doubt=None if of.doubt is None else Doubt(values=of.doubt.above),
    )


def _front(of: Picture, per_cm: float, *, words: bool) -> TankView:
    cut = filters.length(of.cuts.front_y_cm, of.unit)
    near = [s for s in of.soundings if abs(s.y_cm - of.cuts.front_y_cm) <= NEAR_CUT_CM]
    return tank_view.section(
        of.light.front,
        length=of.tank.length_cm,
        depth=of.tank.depth_cm,
        headroom=headroom(of),
        per_cm=per_cm,
        unit=_unit(of.unit),
        levels=of.levels,
        title=f"{of.tank.name} from the front, cut {cut} from the front wall, {of.kind}",
        description=_described(of, of.light.front),
        axis_words=f"{of.unit} from the left wall · depth down the side",
        things=_things(of, lambda a: (a.x_cm, a.depth_cm), words=words),
        points=[Point(across=s.x_cm, along=s.depth_cm, words=filters.ppfd(s.ppfd)) for s in near],
        overheads=_overheads(of, sideways=False, words=True),
        cut_across=of.cuts.side_x_cm,
        cut_along=of.cuts.depth_cm,
        blocks=rocks_seen.from_front(optics_tank(of.tank), of.cuts.front_y_cm),
        doubt=None if of.doubt is None else Doubt(values=of.doubt.front),
        dimension_words=_height_words(of),
    )


def _side(of: Picture, per_cm: float, *, words: bool) -> TankView:
    cut = filters.length(of.cuts.side_x_cm, of.unit)
    near = [s for s in of.soundings if abs(s.x_cm - of.cuts.side_x_cm) <= NEAR_CUT_CM]
    return tank_view.section(
        of.light.side,
        length=of.tank.width_cm,
        depth=of.tank.depth_cm,
        headroom=headroom(of),
        per_cm=per_cm,
        unit=_unit(of.unit),
        levels=of.levels,
        title=f"{of.tank.name} from the right side, cut {cut} from the left wall, {of.kind}",
        description=_described(of, of.light.side),
        axis_words=f"{of.unit} from the front wall",
        things=_things(of, lambda a: (a.y_cm, a.depth_cm), words=words),
        points=[Point(across=s.y_cm, along=s.depth_cm, words=filters.ppfd(s.ppfd)) for s in near],
        overheads=_overheads(of, sideways=True, words=False),
        cut_across=of.cuts.front_y_cm,
        cut_along=of.cuts.depth_cm,
        blocks=rocks_seen.from_side(optics_tank(of.tank), of.cuts.side_x_cm),
        doubt=None if of.doubt is None else Doubt(values=of.doubt.side),
    )


def _things(
    of: Picture, place: Callable[[AnimalLight], Place], *, words: bool, wants: bool = True
) -> list[Thing]:
    """Animals as marks at (across, along), held inside a tank that was made smaller."""
    found = []
    for one in of.animals:
        across, along = place(one)
        found.append(
            Thing(
                across=across,
                along=along,
                letter=one.letter,
                verdict=MARKS[one.verdict],
                words=(sentences.verdict_words(one), f"wants {sentences.wants_words(one)}")[
                    : 1 + wants
                ]
                if words
                else (),
            )
        )
    return found


def _from_above(one: Hung, place: LampPlace) -> Overhead:
    along, across = one.stated.lamp.layout.extent_cm
    width, length = (across, along) if place.turned else (along, across)
    return Overhead(across=place.x_cm, along=place.y_cm, width=width, length=length, words="")


def _overheads(of: Picture, *, sideways: bool, words: bool) -> list[Overhead]:
    """Lamps from the front or the side, each at its height, with the edges of its beam."""
    together = len({place.height_cm for place in of.places}) == 1
    found = []
    for one, place in zip(of.hung, of.places, strict=True):
        along, across = one.stated.lamp.layout.extent_cm
        lies_along = place.turned == sideways
        told = filters.percent(place.power)
        if not together:
            told = f"{told}, {filters.length(place.height_cm, of.unit)}"
        found.append(
            Overhead(
                across=place.y_cm if sideways else place.x_cm,
                width=along if lies_along else across,
                height=place.height_cm,
                words=told if words else "",
                spread=None if one.stated.lamp.intensity else one.stated.lamp.beam_deg,
            )
        )
    return found


def _height_words(of: Picture) -> str:
    """The height beside its line, where all lamps share one."""
    heights = {place.height_cm for place in of.places}
    return filters.length(heights.pop(), of.unit) if len(heights) == 1 else ""


def _described(of: Picture, values: Floats) -> str:
    """The numbers that matter, for those who hear the chart."""
    low, high = (filters.ppfd(float(end)) for end in (np.nanmin(values), np.nanmax(values)))
    span = f"From {low} to {high} "
    told = " ".join(
        f"{one.letter}: {one.name}, "
        + ("light not known" if one.ppfd is None else f"gets {filters.ppfd(one.ppfd)}")
        + f", wants {sentences.wants_words(one)}, {sentences.verdict_words(one)}."
        for one in of.animals
    )
    return f"{span}µmol m⁻² s⁻¹. {told}".strip()


def _unit(unit: str) -> axes.Unit:
    return axes.CENTIMETRES if unit == "cm" else axes.INCHES
