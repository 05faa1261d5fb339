"""What the dose page shows: every animal's day, and the dose over one depth from above."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.account import sentences
from server.account.reckoning import letter
from server.db import lived_under
from server.db.accounts import Told
from server.db.daylight import DoseMap, dose_map, lamp_course
from server.db.lived_under import LivedRows
from server.db.moments import Moment
from server.dose.warnings import LOW_DLI, LOW_DLI_SOURCE
from server.dose.way_now import WayNow
from server.drawing import axes, tank_view
from server.drawing.marks import Verdict
from server.models import Animal, Member, Tank
from server.web import filters
from server.web.animal_marks import MARKS
from server.web.chart_levels import PPFD as LEVELS
from server.web.day.animal_dose import AnimalDose, animal_doses, dose_span
from server.web.day.doing import do_words
from server.web.day.view import lit_known, sure_words
from server.web.lit import Lit

DLI_LEVELS = tank_view.Levels(tints=(1.2, 1.9, 4, 6, 9, 14), lines=(2.5, 3, 5, 7, 8, 10, 12, 18))
WIDE, NARROW = 470.0, 268.0


@dataclass(frozen=True, kw_only=True)
class Maps:
    """Dose and brightest light from above, at one scale of the tank."""

    dose: tank_view.TankView
    dose_narrow: tank_view.TankView
    ppfd: tank_view.TankView
    ppfd_narrow: tank_view.TankView


@dataclass(frozen=True, kw_only=True)
class DoseView:
    """The dose page of a tank."""

    id: int
    name: str
    own: bool
    answer: str
    do: str
    beside: tuple[str, ...] = ()
    sure: str
    doses: tuple[tuple[str, AnimalDose], ...] = ()
    maps: Maps | None = None
    sources: tuple[str, ...] = ()
    depth: str = ""
    depth_value: str = ""
    depth_error: str = ""
    unit: str = "cm"
    threshold: str = f"{LOW_DLI[0]}–{LOW_DLI[1]} mol m⁻² d⁻¹"
    threshold_source: str = LOW_DLI_SOURCE


def dose_page(
    who: Member,
    tank: Tank,
    now: Moment,
    told: Told,
    lived: LivedRows,
    *,
    way: WayNow | None,
    depth: str,
) -> DoseView:
    """Doses as the day runs, of the account's light; `depth` as typed, in the member's unit."""
    shell = DoseView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        answer=f"The doses of {tank.name} are not known: it has no day yet.",
        do="",
        sure="",
        unit=who.length_unit,
    )
    found = lit_known(told)
    if found is None:
        return shell
    rises = lived_under.rises(lived)
    jumped = lived_under.jumped(lived, rises)
    doses = animal_doses(found, rises)
    depth_cm, error = _depth(depth, tank, found.animals, who.length_unit)
    maps = dose_map(
        tank,
        found.groups,
        depth_cm=depth_cm,
        cell_cm=max(2.0, tank.length_cm / 40),
        over_plan=told.light.over_plan if told.light else None,
    )
    words = filters.length(depth_cm, who.length_unit)
    lamp = lamp_course(found.groups)
    do = do_words(doses, lamp, now.changed_on, lived.today, way=way, jumped=jumped, told=told)
    return DoseView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        answer=_answer(doses, maps, words),
        do=do,
        beside=sentences.beside(told.account, do),
        sure=sure_words(told),
        doses=tuple((letter(place), one) for place, one in enumerate(doses)),
        sources=_sources(doses),
        maps=_maps(tank, told, found, doses, maps, who.length_unit, words),
        depth=words,
        depth_value=depth or filters.length_number(depth_cm, who.length_unit),
        depth_error=error,
        unit=who.length_unit,
    )


def _depth(typed: str, tank: Tank, animals: Sequence[Animal], unit: str) -> tuple[float, str]:
    depths = sorted(min(animal.depth_cm, tank.depth_cm) for animal in animals)
    usual = depths[len(depths) // 2] if depths else tank.depth_cm / 2
    if not typed:
        return usual, ""
    words = f"Type a depth from 0 to {filters.length(tank.depth_cm, unit)}."
    try:
        depth_cm = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber:
        return usual, words
    return (depth_cm, "") if 0 < depth_cm <= tank.depth_cm + 1e-6 else (usual, words)


def _answer(doses: Sequence[AnimalDose], maps: DoseMap, depth: str) -> str:
    if doses:
        return f"The animals get {dose_span(doses)} mol m⁻² d⁻¹."
    mean = filters.significant(float(np.mean(maps.dli)), 2)
    return f"{mean} mol m⁻² d⁻¹ on average, {depth} deep."


def _sources(doses: Sequence[AnimalDose]) -> tuple[str, ...]:
    """Every published source named once, in the order they are met."""
    met = [
        hours.source
        for one in doses
        for hours in (*one.feeding, *one.saturated, *one.photosynthesis, *one.inhibited)
        if hours.kind == "published"
    ]
    return tuple(dict.fromkeys(met))


def _verdict(dose: AnimalDose) -> Verdict:
    return "below" if dose.low in ("dark", "low") and not dose.shade else "within"


def _maps(
    tank: Tank,
    told: Told,
    found: Lit,
    doses: Sequence[AnimalDose],
    maps: DoseMap,
    unit: str,
    depth: str,
) -> Maps:
    low, high = float(np.nanmin(maps.dli)), float(np.nanmax(maps.dli))
    span = f"From {filters.significant(low, 2)} to {filters.significant(high, 2)} mol m⁻² d⁻¹."
    dim = tuple(_verdict(one) for one in doses)
    bright = tuple(MARKS[one.verdict] for one in told.glance.animals)
    drawn = {}
    for name, width in (("", WIDE), ("_narrow", NARROW)):
        drawn[f"dose{name}"] = _drawn(
            tank,
            found,
            maps.dli,
            dim,
            DLI_LEVELS,
            unit,
            width / tank.length_cm,
            title=f"Dose from above, {depth} deep",
            told=span,
        )
        drawn[f"ppfd{name}"] = _drawn(
            tank,
            found,
            maps.ppfd,
            bright,
            LEVELS,
            unit,
            width / tank.length_cm,
            title=f"Brightest light from above, {depth} deep",
            told=f"Up to {filters.ppfd(float(np.nanmax(maps.ppfd)))} µmol m⁻² s⁻¹.",
        )
    return Maps(**drawn)


def _drawn(
    tank: Tank,
    found: Lit,
    values: np.ndarray,
    verdicts: Sequence[Verdict],
    levels: tank_view.Levels,
    unit: str,
    per_cm: float,
    *,
    title: str,
    told: str,
) -> tank_view.TankView:
    return tank_view.plan(
        values,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=per_cm,
        unit=axes.CENTIMETRES if unit == "cm" else axes.INCHES,
        levels=levels,
        title=title,
        description=told,
        axis_words=f"{unit} from the left wall · front wall below",
        things=[
            tank_view.Thing(
                across=min(animal.x_cm, tank.length_cm),
                along=min(animal.y_cm, tank.width_cm),
                letter=letter(place),
                verdict=verdicts[place],
            )
            for place, animal in enumerate(found.animals)
        ],
    )
