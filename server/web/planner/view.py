"""What the plan page shows: the answer, what to do, how sure, then the charts and who gets what."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.account import cautions, cuts, left_over, sentences
from server.account.cuts import Floats
from server.db import accounts
from server.db.light import FLOORS, Hung
from server.db.lit import lit
from server.db.tanks import LampPlace
from server.drawing import legend
from server.drawing.tank_view import Levels, TankView
from server.models import HungLamp
from server.optics.field import share_into_water
from server.surveys.estimate import Known
from server.web import chart_levels, filters
from server.web import three_views as draw
from server.web.animal_rows import AnimalRow, animal_rows
from server.web.forms import Shown, shown_length
from server.web.plan_address import plan_address
from server.web.planner import words
from server.web.planner.form import WhatIf
from server.web.planner.look import Seen, Subject, look
from server.web.three_views import Drawings, Picture

LOWEST_CM, USUAL_HIGHEST_CM = 5.0, 80.0
"""Ends of the height slider, wider where a lamp hangs beyond them."""
LOW_FRONT = 310.0
"""A front view no taller than this stays in sight on a phone while lamps are moved."""


@dataclass(frozen=True, kw_only=True)
class Slide:
    """A field with a slider, and the slider's ends."""

    field: Shown
    low: str
    high: str
    step: str

    @property
    def at(self) -> str:
        """The value as a slider takes it: a decimal point and a plain minus."""
        return self.field.value.replace("−", "-").replace(",", ".")


@dataclass(frozen=True, kw_only=True)
class LampControl:
    """One lamp's fields."""

    number: int
    name: str
    height: Slide
    power: Slide
    place: tuple[Slide, Slide]


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The part of the page that follows the sliders."""

    answer: str
    told: str
    do: str
    beside: tuple[str, ...]
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

    @property
    def front_is_low(self) -> bool:
        """Whether a phone has room for the front view and the sliders at once."""
        return self.drawn.narrow is not None and self.drawn.narrow.front.height <= LOW_FRONT


# The part that follows the sliders


def drawn(of: Subject, asked: WhatIf, *, sizes: Sequence[str], draft: bool) -> Drawn:
    """Light, verdicts and drawings of a plan. sizes: which of "wide" and "narrow" to draw."""
    seen = look(of, asked, draft=draft)
    picture = _picture(of, asked, seen)
    difference = None if draft or not asked.changed else _difference(of, seen)
    most = 0.0 if difference is None else float(np.nanmax(np.abs(difference)))
    changes = {
        size: draw.change(picture, difference, width=width)
        for size, width in (("wide", 620.0), ("narrow", draw.PHONE))
        if difference is not None and most >= 2 and size in sizes
    }
    return Drawn(
        answer=words.answer(of, seen, asked),
        told=sentences.out_of_range(seen.animals),
        do=words.to_do(of, seen, asked),
        beside=sentences.beside(of.told.account, words.to_do(of, seen, asked)),
        do_address="" if asked.changed else _try_address(of, asked),
        sure=words.sure(of, seen, asked),
        wide=draw.wide(picture) if "wide" in sizes else None,
        narrow=draw.narrow(picture) if "narrow" in sizes else None,
        rows=animal_rows(
            seen.animals, asked.unit, of.told.account.animals if asked.changed else ()
        ),
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


def _picture(of: Subject, asked: WhatIf, seen: Seen) -> Picture:
    basis = seen.light.basis if seen.light else of.told.account.basis
    return Picture(
        tank=of.tank,
        hung=of.hung,
        places=asked.lamps,
        animals=seen.animals,
        cuts=seen.cuts,
        light=seen.views,
        levels=_levels(asked, rocks=bool(of.tank.furnishing)),
        unit=asked.unit,
        soundings=() if asked.changed else _soundings(of),
        doubt=seen.doubt,
        kind=sentences.basis_words(basis),
    )


def _difference(of: Subject, seen: Seen) -> Floats:
    """What the plan changes on the view from above."""
    before = cuts.views(seen.before, seen.cuts)
    if of.told.light is not None:
        before, _ = left_over.views(of.told.light.map, before, seen.cuts)
    return seen.views.above - before.above


def _soundings(of: Subject) -> tuple[draw.Sounded, ...]:
    """Readings of this very light; a struck-out or doubted one is not printed."""
    if of.told.account.basis != "measured" or of.told.measured is None:
        return ()
    found = of.told.measured.map
    return tuple(
        draw.Sounded(x_cm=r.x_cm, y_cm=r.y_cm, depth_cm=r.depth_cm, ppfd=r.ppfd)
        for n, r in enumerate(found.used)
        if n not in found.wrong
    )


def _legend() -> legend.Legend:
    return legend.legend(chart_levels.PPFD, width=300.0, title="PPFD, µmol m⁻² s⁻¹")


def _levels(asked: WhatIf, *, rocks: bool) -> Levels:
    if asked.focus is None:
        return chart_levels.AMONG_ROCKS if rocks else chart_levels.PPFD
    return chart_levels.zone(asked.focus.low_ppfd, asked.focus.high_ppfd)


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
        lift=_slide(asked, "lift", -20.0, 20.0),
        depth=_slide(asked, "depth", 0.0, of.tank.depth_cm),
        cuts=(
            _slide(asked, "y", 0.0, of.tank.width_cm),
            _slide(asked, "x", 0.0, of.tank.length_cm),
        ),
        focus=str(asked.focus.id) if asked.focus else "",
        focus_options=(
            ("", "the light, in PPFD"),
            *((str(a.id), f"where {a.name} could live") for a in of.animals),
        ),
        facts=_facts(of, asked),
    )


def _setup_words(of: Subject) -> str:
    name = f"“{of.setup.name}”" if of.setup.name else "This setup"
    day = filters.day(of.setup.since)
    if of.setup.state == "plan":
        return f"{name} is a plan not hung yet, drawn up on {day}"
    return f"{name} was set on {day} and {'hangs now' if of.is_current else 'was replaced since'}"


def _slide(asked: WhatIf, name: str, low_cm: float, high_cm: float) -> Slide:
    return Slide(
        field=asked.form.at(name),
        low=_plain_length(low_cm, asked.unit),
        high=_plain_length(high_cm, asked.unit),
        step="1" if asked.unit == "cm" else "0.5",
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
        height=_slide(asked, f"h{n}", low, high),
        power=Slide(field=asked.form.at(f"p{n}"), low="0", high="100", step="1"),
        place=(
            _slide(asked, f"x{n}", 0.0, of.tank.length_cm),
            _slide(asked, f"y{n}", 0.0, of.tank.width_cm),
        ),
    )


def _cautions(of: Subject, hung: Hung, place: LampPlace, unit: str) -> tuple[str, ...]:
    """What is worth a second look about a lamp at this place."""
    there = replace(hung, row=HungLamp(**(hung.row.model_dump() | vars(place))))
    return cautions.cautions(accounts.hanging_in(of.tank, there), unit)


def _plain_address(of: Subject) -> str:
    setup = "" if of.is_current else f"?setup={of.setup.id}"
    return f"/tanks/{of.tank.id}/plan{setup}"


def _try_address(of: Subject, asked: WhatIf) -> str:
    """This plan with the account's proposal tried; empty where it moves no lamp."""
    tried = accounts.tried(of.told)
    if tried is None:
        return ""
    return plan_address(of.tank.id, of.setup.id, asked.hung, tried, asked.unit)


_WALLS = {"clear": "clear glass", "black": "dark"}


def _facts(of: Subject, asked: WhatIf) -> tuple[tuple[str, str], ...]:
    """Every number that went in."""
    tank, unit = of.tank, asked.unit
    lamps = cuts.moved(lit(tank, of.hung), asked.hung, asked.lamps)
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
        scene = cuts.plan_of(lamps)
        share = share_into_water(scene.tank, scene.water, scene.emitters)
        facts.append(("Photons that enter the water", filters.percent(share)))
    return tuple(facts)


def _measured_facts(of: Subject) -> list[tuple[str, str]]:
    """What the readings put right, each with its 80 % interval."""
    if of.told.measured is None:
        return []
    fit, unit = of.told.measured.map.fit, "% of what was stated"
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
