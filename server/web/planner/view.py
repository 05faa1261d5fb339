"""What the plan page shows: the answer, what to do, how sure, then the charts and who gets what."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np

from server.db.light import FLOORS, Hung
from server.db.tanks import LampPlace
from server.drawing import gauge, legend
from server.drawing.tank_view import TankView
from server.optics.field import share_into_water
from server.surveys.estimate import Known
from server.web import chart_levels, filters
from server.web.planner import draw, known, light, words
from server.web.planner.draw import Drawings, Picture
from server.web.planner.form import WhatIf, percent
from server.web.planner.judge import best_turn
from server.web.planner.look import Seen, Subject, look
from server.web.tanks.typed import shown_length

LOWEST_CM, USUAL_HIGHEST_CM = 5.0, 80.0
"""Ends of the height slider, wider where a lamp hangs beyond them."""
GAUGE_WIDTH = 168.0
LOW_FRONT = 310.0
"""A front view no taller than this stays in sight on a phone while lamps are moved."""


@dataclass(frozen=True, kw_only=True)
class Slide:
    """A number with a slider: field name, label, what it shows, and the slider's ends."""

    name: str
    label: str
    value: str
    low: str
    high: str
    step: str
    unit: str
    error: str = ""

    @property
    def at(self) -> str:
        """The value as a slider takes it: a decimal point and a plain minus."""
        return self.value.replace("−", "-").replace(",", ".")


@dataclass(frozen=True, kw_only=True)
class LampControl:
    """One lamp's fields."""

    number: int
    name: str
    height: Slide
    power: Slide
    place: tuple[Slide, Slide]


@dataclass(frozen=True, kw_only=True)
class AnimalRow:
    """One line of who gets what."""

    letter: str
    name: str
    place: str
    gets: str
    spread: str
    wants: str
    was: str
    verdict: str
    words: str
    gauge: gauge.Gauge


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The part of the page that follows the sliders."""

    answer: str
    told: str
    do: str
    do_address: str
    sure: str
    wide: Drawings | None
    narrow: Drawings | None
    rows: tuple[AnimalRow, ...]
    cautions: tuple[tuple[str, ...], ...]
    back_address: str
    legend: legend.Legend | None
    focus_words: str
    change_words: str
    change_wide: TankView | None
    change_narrow: TankView | None


@dataclass(frozen=True, kw_only=True)
class PlanView:
    """The whole page."""

    tank_id: int
    tank_name: str
    own: bool
    setup_id: int
    setup_words: str
    unit: str
    action: str
    drawn: Drawn
    lamps: tuple[LampControl, ...]
    lift: Slide
    depth: Slide
    cuts: tuple[Slide, Slide]
    focus: str
    focus_options: tuple[tuple[str, str], ...]
    facts: tuple[tuple[str, str], ...]
    errors: dict[str, str]
    keep_name: str

    @property
    def front_is_low(self) -> bool:
        """Whether a phone has room for the front view and the sliders at once."""
        return self.drawn.narrow is not None and self.drawn.narrow.front.height <= LOW_FRONT


# The part that follows the sliders


def drawn(of: Subject, asked: WhatIf, *, sizes: Sequence[str], draft: bool) -> Drawn:
    """Light, verdicts and drawings of a plan. sizes: which of "wide" and "narrow" to draw."""
    seen = look(of, asked, draft=draft)
    picture = Picture(
        tank=of.tank,
        hung=of.hung,
        places=asked.lamps,
        judged=seen.judged,
        cuts=seen.cuts,
        light=seen.views,
        levels=_levels(asked),
        unit=asked.unit,
        soundings=() if asked.changed else _soundings(of),
        doubt=seen.doubt,
        kind="planned" if of.measured is None else "as measured",
    )
    turn = best_turn(of.animals, seen.by_lamp, asked.lamps)
    difference = None if draft or not asked.changed else _difference(of, seen)
    most = 0.0 if difference is None else float(np.abs(difference).max())
    changes = {
        size: draw.change(picture, difference, width=width)
        for size, width in (("wide", 620.0), ("narrow", draw.PHONE))
        if difference is not None and most >= 2 and size in sizes
    }
    return Drawn(
        answer=words.answer(seen.judged, planned=asked.changed),
        told=words.told(seen.judged),
        do=words.to_do(of, seen.judged, turn, asked),
        do_address=_address(of, asked, turn.powers) if turn else "",
        sure=words.sure(of, seen, asked),
        wide=draw.wide(picture) if "wide" in sizes else None,
        narrow=draw.narrow(picture) if "narrow" in sizes else None,
        rows=_rows(seen, asked.unit),
        cautions=tuple(
            _cautions(of, hung, place, asked.unit)
            for hung, place in zip(of.hung, asked.lamps, strict=True)
        ),
        back_address=_plain_address(of) if asked.changed else "",
        legend=_legend() if asked.focus is None else None,
        focus_words=words.focus_words(asked),
        change_words="" if difference is None else words.change_words(difference, asked),
        change_wide=changes.get("wide"),
        change_narrow=changes.get("narrow"),
    )


def _difference(of: Subject, seen: Seen) -> light.Floats:
    """What the plan changes on the view from above."""
    before = light.views(seen.before, seen.cuts)
    if of.measured is not None:
        before, _ = known.views(of.measured.map, before, seen.cuts)
    return seen.views.above - before.above


def _soundings(of: Subject) -> tuple[draw.Sounded, ...]:
    """The readings the map rests on; a struck-out or doubted one is not printed."""
    if of.measured is None:
        return ()
    found, wrong = of.measured.map, set(of.measured.map.wrong)
    return tuple(
        draw.Sounded(x_cm=r.x_cm, y_cm=r.y_cm, depth_cm=r.depth_cm, ppfd=r.ppfd)
        for n, r in enumerate(found.used)
        if n not in wrong
    )


def _legend() -> legend.Legend:
    return legend.legend(chart_levels.PPFD, width=300.0, title="PPFD, µmol m⁻² s⁻¹")


def _levels(asked: WhatIf) -> chart_levels.Levels:
    if asked.focus is None:
        return chart_levels.PPFD
    return chart_levels.zone(asked.focus.low_ppfd, asked.focus.high_ppfd)


def _rows(seen: Seen, unit: str) -> tuple[AnimalRow, ...]:
    """Who gets what; all gauges of the table on one scale."""
    ends = [end for one in seen.judged for end in (one.animal.low_ppfd, one.animal.high_ppfd)]
    known_light = [one.ppfd for one in seen.judged if one.ppfd is not None]
    every = [max(value, 5.0) for value in (*ends, *known_light)] or [50.0, 500.0]
    scale = (min(every) * 0.75, max(every) * 1.33)
    return tuple(_row(seen, n, unit, scale) for n in range(len(seen.judged)))


def _row(seen: Seen, n: int, unit: str, scale: tuple[float, float]) -> AnimalRow:
    one, spread = seen.judged[n], seen.spreads[n]
    animal = one.animal
    place = " · ".join(
        (
            f"{filters.length_number(animal.x_cm, unit)} right",
            f"{filters.length_number(animal.y_cm, unit)} back",
            f"{filters.length(animal.depth_cm, unit)} deep",
        )
    )
    return AnimalRow(
        letter=one.letter,
        name=animal.name,
        place=place,
        gets="not known" if one.ppfd is None else filters.ppfd(one.ppfd),
        spread="" if spread is None else f"± {filters.number(max((spread[1] - spread[0]) / 2, 1))}",
        wants=one.range_words,
        was="" if seen.was is None else filters.ppfd(float(seen.was[n])),
        verdict=one.verdict,
        words=one.words,
        gauge=gauge.gauge(
            value=one.ppfd,
            wanted=(animal.low_ppfd, animal.high_ppfd),
            interval=spread,
            verdict=one.verdict,
            scale_range=scale,
            width=GAUGE_WIDTH,
        ),
    )


# The whole page


def plan_page(of: Subject, asked: WhatIf) -> PlanView:
    """The page with both sizes of every drawing."""
    return PlanView(
        tank_id=of.tank.id,
        tank_name=of.tank.name,
        own=of.own,
        setup_id=of.setup.id,
        setup_words=_setup_words(of),
        unit=asked.unit,
        action=f"/tanks/{of.tank.id}/plan",
        drawn=drawn(of, asked, sizes=("wide", "narrow"), draft=False),
        lamps=tuple(_control(of, asked, n) for n in range(len(of.hung))),
        lift=_slide(asked, "lift", "Raise all lamps by", -20.0, 20.0),
        depth=_slide(asked, "depth", "Depth of the view from above", 0.0, of.tank.depth_cm),
        cuts=(
            _slide(asked, "y", "Front view cut, from the front wall", 0.0, of.tank.width_cm),
            _slide(asked, "x", "Side view cut, from the left wall", 0.0, of.tank.length_cm),
        ),
        focus=str(asked.focus.id) if asked.focus else "",
        focus_options=(
            ("", "the light, in PPFD"),
            *((str(a.id), f"where {a.name} could live") for a in of.animals),
        ),
        facts=_facts(of, asked),
        errors=asked.errors,
        keep_name=asked.values.get("name", ""),
    )


def _setup_words(of: Subject) -> str:
    name = f"“{of.setup.name}”" if of.setup.name else "This setup"
    day = filters.day(of.setup.since)
    if of.setup.state == "plan":
        return f"{name} is a plan not hung yet, drawn up on {day}"
    return f"{name} was set on {day} and {'hangs now' if of.is_current else 'was replaced since'}"


def _slide(asked: WhatIf, name: str, label: str, low_cm: float, high_cm: float) -> Slide:
    return Slide(
        name=name,
        label=label,
        value=asked.values[name],
        low=_plain_length(low_cm, asked.unit),
        high=_plain_length(high_cm, asked.unit),
        step="1" if asked.unit == "cm" else "0.5",
        unit=asked.unit,
        error=asked.errors.get(name, ""),
    )


def _plain_length(value_cm: float, unit: str) -> str:
    """A slider's end: a decimal point and a plain minus, as HTML takes it."""
    return shown_length(value_cm, unit).replace("−", "-")


def _control(of: Subject, asked: WhatIf, n: int) -> LampControl:
    hung, place, lamp = of.hung[n], asked.lamps[n], of.hung[n].stated.lamp
    low = min(LOWEST_CM, place.height_cm, lamp.min_height_cm or LOWEST_CM)
    high = max(USUAL_HIGHEST_CM, place.height_cm, lamp.max_height_cm or 0.0)
    return LampControl(
        number=n + 1,
        name=hung.stated.row.name,
        height=_slide(asked, f"h{n}", "Height over water", low, high),
        power=Slide(
            name=f"p{n}",
            label="Power",
            value=asked.values[f"p{n}"],
            low="0",
            high="100",
            step="1",
            unit="%",
            error=asked.errors.get(f"p{n}", ""),
        ),
        place=(
            _slide(asked, f"x{n}", "Middle, from the left wall", 0.0, of.tank.length_cm),
            _slide(asked, f"y{n}", "Middle, from the front wall", 0.0, of.tank.width_cm),
        ),
    )


def _cautions(of: Subject, hung: Hung, place: LampPlace, unit: str) -> tuple[str, ...]:
    """What the lamp's papers or the tank's place say against this height."""
    lamp, found = hung.stated.lamp, []
    if lamp.min_height_cm is not None and place.height_cm < lamp.min_height_cm:
        least = filters.length(lamp.min_height_cm, unit)
        found.append(f"Lower than the {least} its papers ask for.")
    if lamp.max_height_cm is not None and place.height_cm > lamp.max_height_cm:
        most = filters.length(lamp.max_height_cm, unit)
        found.append(f"Higher than the {most} its papers allow.")
    if of.tank.headroom_cm is not None and place.height_cm > of.tank.headroom_cm:
        room = filters.length(of.tank.headroom_cm, unit)
        found.append(f"There is only {room} of free height over this tank.")
    return tuple(found)


def _plain_address(of: Subject) -> str:
    setup = "" if of.is_current else f"?setup={of.setup.id}"
    return f"/tanks/{of.tank.id}/plan{setup}"


def _address(of: Subject, asked: WhatIf, powers: Sequence[float]) -> str:
    """This plan with other powers, as an address."""
    values = {name: text for name, text in asked.values.items() if name not in ("name",)}
    values |= {f"p{n}": percent(power) for n, power in enumerate(powers)}
    values |= {"unit": asked.unit, "setup": str(of.setup.id)}
    if asked.focus is not None:
        values["focus"] = str(asked.focus.id)
    return f"/tanks/{of.tank.id}/plan?{urlencode(values)}"


_WALLS = {"clear": "clear glass", "black": "dark"}


def _facts(of: Subject, asked: WhatIf) -> tuple[tuple[str, str], ...]:
    """Every number that went in."""
    tank, unit = of.tank, asked.unit
    lit = light.moved(light.lit(tank, of.hung), asked.hung, asked.lamps)
    walls = (
        ("left", tank.wall_left),
        ("right", tank.wall_right),
        ("front", tank.wall_front),
        ("back", tank.wall_back),
    )
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    size = " × ".join(filters.length_number(side, unit) for side in sides)
    facts = [
        ("Tank inside", f"{size} {unit}, length × width × depth of water"),
        ("Walls", ", ".join(f"{side} {_WALLS.get(w, 'returning ' + w)}" for side, w in walls)),
        ("Floor returns", filters.percent(FLOORS[tank.floor].albedo)),
        ("Cover pane", "yes, clear glass" if tank.cover else "none"),
        ("Water", tank.water),
    ]
    for n, (hung, place) in enumerate(zip(of.hung, asked.lamps, strict=True), start=1):
        about = "about " if hung.stated.estimated else ""
        flux = filters.significant(hung.stated.lamp.ppf_umol_s, 3)
        beam = (
            "measured intensity table"
            if hung.stated.lamp.intensity
            else f"beam {filters.number(hung.stated.lamp.beam_deg)}°"
        )
        facts.append(
            (
                f"Lamp {n}, {hung.stated.row.name}",
                f"{about}{flux} µmol s⁻¹ at full power"
                f"{', estimated from its watts' if hung.stated.estimated else ''}; {beam}; "
                f"{filters.length(place.height_cm, unit)} up; {filters.percent(place.power)}",
            )
        )
    facts += _measured_facts(of)
    if of.hung:
        scene = light.scene_of(lit)
        share = share_into_water(scene.tank, scene.water, scene.emitters)
        facts.append(("Photons that enter the water", filters.percent(share)))
    return tuple(facts)


def _measured_facts(of: Subject) -> list[tuple[str, str]]:
    """What the readings put right, each with its 80 % interval."""
    if of.measured is None:
        return []
    fit, unit = of.measured.map.fit, "% of what was stated"
    facts = [("Output, from the readings", f"{_share_words(fit.output_factor)} {unit}")]
    if fit.beam_deg is not None:
        facts.append(("Beam, from the readings", f"{_known_words(fit.beam_deg, 1.0)}°"))
    facts.append(("Water absorbs", f"{_known_words(fit.absorption_per_m, 1.0, 2)} per metre"))
    if fit.typical_error_percent is not None:
        facts.append(
            (
                "Typical error",
                f"{filters.number(fit.typical_error_percent, 1)} %: how far a reading is, in the "
                "middle, from what all the others foretell",
            )
        )
    return facts


def _share_words(one: Known) -> str:
    return _known_words(one, 100.0)


def _known_words(one: Known, times: float, digits: int = 0) -> str:
    value, low, high = (filters.number(v * times, digits) for v in (one.value, one.low, one.high))
    return f"{value} ({low} to {high})"
