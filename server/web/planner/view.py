"""What the plan page shows: the answer, what to do, how sure, then the charts and who gets what."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.drawing import gauge, legend
from server.drawing.tank_view import TankView
from server.web import chart_levels
from server.web.planner import draw, known, light, words
from server.web.planner.draw import Drawings, Picture
from server.web.planner.form import WhatIf
from server.web.planner.judge import best_turn
from server.web.planner.look import Seen, Subject, look

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
