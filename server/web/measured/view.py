"""What the verdict page shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np

from server.db.measured import Measured, hanging_of, lamp_names
from server.db.tanks import place_of
from server.drawing import gauge, legend
from server.drawing.marks import Verdict as Mark
from server.models import Animal, Meter, Tank
from server.surveys import explanation
from server.surveys.advice import Advice, Change, Kind, advice
from server.surveys.next_reading import NextReading, next_reading
from server.surveys.plan import Animal as Living
from server.surveys.verdict import Judged, Verdict, verdicts
from server.web import chart_levels, filters
from server.web.measured import charts, facts, readings_view, words
from server.web.measured.readings_view import MisfitRow, ReadingRow
from server.web.planner import draw
from server.web.planner.draw import Drawings, Picture, Sounded
from server.web.planner.form import percent
from server.web.planner.light import Cuts
from server.web.planner.view import AnimalRow
from server.web.tanks.judged import Judged as Drawn
from server.web.tanks.judged import letter
from server.web.tanks.typed import shown_length

GAUGE_WIDTH = 168.0

MARKS: dict[Verdict, Mark] = {
    Verdict.TOO_DIM: "below",
    Verdict.IN_RANGE: "within",
    Verdict.TOO_BRIGHT: "above",
    Verdict.NOT_KNOWN: "unknown",
}


@dataclass(frozen=True, kw_only=True)
class LampRow:
    """What was learnt about one lamp, and whether it is kept on the shelf."""

    hung_id: int
    model_id: int
    kept: bool
    name: str
    output: str
    beam: str


@dataclass(frozen=True, kw_only=True)
class VerdictView:
    """The whole page."""

    tank_id: int
    tank_name: str
    own: bool
    setup_id: int
    setup_words: str
    unit: str
    measured: bool
    answer: str
    told: str
    do: str
    try_address: str
    brighter: bool
    sure: str
    next_words: str
    next_address: str
    next_why: str
    worth_it: bool
    wide: Drawings
    narrow: Drawings
    legend: legend.Legend
    depth: str
    depth_error: str
    rows: tuple[AnimalRow, ...]
    findings: tuple[str, ...]
    drift: str
    replaced: str
    misfits: tuple[MisfitRow, ...]
    not_used: str
    readings: tuple[ReadingRow, ...]
    typical: str
    factors: tuple[tuple[str, str], ...]
    lamps: tuple[LampRow, ...]
    shared: bool
    facts: tuple[tuple[str, str], ...]
    sessions: tuple[tuple[int, str], ...]


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What was loaded for the page."""

    found: Measured
    animals: tuple[Animal, ...]
    meters: dict[int, Meter]
    kept: frozenset[int]
    """Hung lamps whose measurement is kept on the shelf."""
    own: bool
    is_current: bool
    unit: str
    depth_cm: float
    depth_typed: str
    depth_error: str
    """What was typed for the depth and why it was not taken; both empty for the usual depth."""


def living(animals: Sequence[Animal], tank: Tank) -> tuple[Living, ...]:
    """Animals as the map takes them; those a smaller tank left outside at the nearest place."""
    return tuple(
        Living(
            name=one.name,
            x_cm=min(one.x_cm, tank.length_cm),
            y_cm=min(one.y_cm, tank.width_cm),
            depth_cm=min(one.depth_cm, tank.depth_cm),
            low_ppfd=one.low_ppfd,
            high_ppfd=one.high_ppfd,
        )
        for one in animals
    )


def verdict_page(of: Subject) -> VerdictView:
    found, rows, unit = of.found, of.found.rows, of.unit
    here = living(of.animals, rows.tank)
    judged = verdicts(found.map, here)
    best = advice(found.map, here, hanging_of(rows.tank, rows.hung))
    following = next_reading(found.map, animals=here)
    lamps = lamp_names(rows.hung)
    drawn = _drawn(of, judged)
    return VerdictView(
        tank_id=rows.tank.id,
        tank_name=rows.tank.name,
        own=of.own,
        setup_id=rows.setup.id,
        setup_words=_setup_words(of),
        unit=unit,
        measured=found.measured,
        answer=words.answer(judged),
        told=words.told(judged),
        do=words.do(best, judged, lamps, unit, measured=found.measured),
        try_address=_try(of, best),
        brighter=found.measured and best is not None and best.helps and _brighter(best),
        sure=_sure(of, judged),
        next_words=words.next_words(following, unit),
        next_address=_next_address(of, following),
        next_why=following.why,
        worth_it=following.worth_it,
        wide=draw.wide(drawn),
        narrow=draw.narrow(drawn),
        legend=legend.legend(chart_levels.PPFD, width=300.0, title="PPFD, µmol m⁻² s⁻¹"),
        depth=of.depth_typed or shown_length(of.depth_cm, unit),
        depth_error=of.depth_error,
        rows=_rows(judged, unit),
        findings=tuple(told.words for told in explanation.explained(found.map)),
        drift=words.drift_words(found.change) if found.change else "",
        replaced=readings_view.replaced(found),
        misfits=readings_view.misfits(found, unit),
        not_used=readings_view.not_used(found),
        readings=readings_view.readings(found, unit),
        typical=readings_view.typical(found),
        factors=tuple(facts.factors(one, of.meters) for one in found.used),
        lamps=_lamps(found, lamps, of.kept),
        shared=rows.tank.shared,
        facts=facts.worked_out(found),
        sessions=tuple((one.session.id, filters.day(one.session.taken_on)) for one in rows.surveys),
    )


def _setup_words(of: Subject) -> str:
    setup = of.found.rows.setup
    name = f"“{setup.name}”" if setup.name else "the setup"
    since = filters.day(setup.since)
    if setup.state == "plan":
        return f"{name}, a plan drawn up on {since}"
    return f"{name} of {since}, {'hanging now' if of.is_current else 'replaced since'}"


def _sure(of: Subject, judged: Sequence[Judged]) -> str:
    if judged:
        widths = [(one.high - one.low) / (2 * one.ppfd) for one in judged]
    else:
        points, _ = charts.grids(of.found.map.plan, _cuts(of))
        widths = list(of.found.half_width(points[::7]))
    days = [one.session.taken_on for one in of.found.used]
    return words.sure(float(np.median(widths)), len(of.found.map.used), days)


def _cuts(of: Subject) -> Cuts:
    tank = of.found.rows.tank
    return Cuts(depth_cm=of.depth_cm, front_y_cm=tank.width_cm / 2, side_x_cm=tank.length_cm / 2)


def _drawn(of: Subject, judged: Sequence[Judged]) -> Picture:
    rows = of.found.rows
    cuts = _cuts(of)
    light, doubt = charts.measured_views(of.found.map, cuts)
    return Picture(
        tank=rows.tank,
        hung=rows.hung,
        places=[place_of(one.row) for one in rows.hung],
        judged=[
            Drawn(animal=animal, letter=letter(n), ppfd=one.ppfd, verdict=MARKS[one.verdict])
            for n, (animal, one) in enumerate(zip(of.animals, judged, strict=True))
        ],
        cuts=cuts,
        light=light,
        levels=chart_levels.PPFD,
        unit=of.unit,
        soundings=[
            Sounded(x_cm=one.x_cm, y_cm=one.y_cm, depth_cm=one.depth_cm, ppfd=one.ppfd)
            for one in of.found.map.used
        ],
        doubt=doubt,
        kind="measured" if of.found.measured else "planned, with its doubt",
    )


def _rows(judged: Sequence[Judged], unit: str) -> tuple[AnimalRow, ...]:
    """Who gets what; all gauges of the table on one scale."""
    if not judged:
        return ()
    lows = [min(one.low, one.animal.low_ppfd or one.low) for one in judged]
    highs = [max(one.high, one.animal.high_ppfd) for one in judged]
    scale = (max(min(lows), 1.0) * 0.75, max(highs) * 1.33)
    return tuple(_row(one, n, unit, scale) for n, one in enumerate(judged))


def _row(one: Judged, n: int, unit: str, scale: tuple[float, float]) -> AnimalRow:
    animal = one.animal
    return AnimalRow(
        letter=letter(n),
        name=animal.name,
        place=words.place((animal.x_cm, animal.y_cm, animal.depth_cm), unit),
        gets=filters.ppfd(one.ppfd),
        spread=f"± {filters.ppfd((one.high - one.low) / 2)}",
        wants=words.range_words(one),
        was="",
        verdict=MARKS[one.verdict],
        words=_verdict_words(one),
        gauge=gauge.gauge(
            value=one.ppfd,
            wanted=(max(animal.low_ppfd, scale[0]), animal.high_ppfd),
            interval=(max(one.low, scale[0]), one.high),
            verdict=MARKS[one.verdict],
            scale_range=scale,
            width=GAUGE_WIDTH,
        ),
    )


def _verdict_words(one: Judged) -> str:
    if one.verdict is not Verdict.NOT_KNOWN:
        return str(one.verdict)
    return f"not known, perhaps {one.leaning}"


# What to do


def _brighter(best: Advice) -> bool:
    """Whether some animal would get clearly more than now: it then has to get used to it."""
    pairs = zip(best.now, best.then, strict=True)
    return any(then.ppfd > 1.1 * now.ppfd for now, then in pairs)


def _try(of: Subject, best: Advice | None) -> str:
    """The plan page with the change tried; empty where it moves an animal or nothing helps."""
    if best is None or not best.helps or best.change.kind is Kind.ANIMAL_PLACE:
        return ""
    if not of.found.measured:
        return ""
    setup = of.found.rows.setup
    values = {"setup": str(setup.id), "unit": of.unit} | _typed_change(of, best.change)
    return f"/tanks/{of.found.rows.tank.id}/plan?{urlencode(values)}"


def _typed_change(of: Subject, what: Change) -> dict[str, str]:
    hung = [one.row for one in of.found.rows.hung]
    values: dict[str, str] = {}
    for n, row in enumerate(hung):
        if what.lamp not in (None, n):
            continue
        if what.kind is Kind.POWER:
            values[f"p{n}"] = percent(min(row.power * what.after[0] / what.before[0], 1.0))
        elif what.kind is Kind.HEIGHT:
            up = what.after[0] - what.before[0]
            values[f"h{n}"] = shown_length(row.height_cm + up, of.unit)
        else:
            values[f"x{n}"] = shown_length(what.after[0], of.unit)
            values[f"y{n}"] = shown_length(what.after[1], of.unit)
    return values


def _next_address(of: Subject, following: NextReading) -> str:
    """Entry by the tank at that very place; a new session where there is none to go on with."""
    if not of.own:
        return ""
    rows = of.found.rows
    if not rows.surveys:
        return f"/tanks/{rows.tank.id}/sessions/new"
    at = {
        name: shown_length(value, of.unit)
        for name, value in (
            ("x", following.x_cm),
            ("y", following.y_cm),
            ("depth", following.depth_cm),
        )
    }
    return f"/sessions/{rows.surveys[-1].session.id}/enter?{urlencode(at)}"


def _lamps(found: Measured, names: Sequence[str], kept: frozenset[int]) -> tuple[LampRow, ...]:
    if not found.measured:
        return ()
    beam = found.map.fit.beam_deg
    told = f"{beam.value:.0f}° ({beam.low:.0f}–{beam.high:.0f}°)" if beam else "as its table says"
    return tuple(
        LampRow(
            hung_id=one.row.id,
            model_id=one.stated.row.id,
            kept=(one.row.id) in kept,
            name=f"{name}, {one.stated.row.name}" if len(names) > 1 else name,
            output=(
                f"{filters.percent(factor.value)} of what is stated "
                f"({filters.number(100 * factor.low)}–{filters.percent(factor.high)})"
            ),
            beam=told,
        )
        for one, name, factor in zip(
            found.rows.hung, names, found.map.fit.lamp_factors, strict=True
        )
    )
