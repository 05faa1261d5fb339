"""What the page of a way under way shows: where it stands, what to set, what was told."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

from server.account import way as words
from server.db.acclimation import setting_of, way_by
from server.db.daylight import pressed_together
from server.db.typed_now import at_setting, of_days
from server.dose.acclimation import LOOK_AT
from server.dose.ladder import PLANNED, Setting
from server.dose.way_now import WayNow
from server.models import Member
from server.web import filters
from server.web.acclimation.desk import UnderWay
from server.web.acclimation.step_words import (
    SURE,
    PastLine,
    StepLine,
    beyond_words,
    past_line,
    peak_words,
    rise_words,
    setting_words,
)
from server.web.lamp_lines import LampLines, lamp_lines

ANSWER_WORDS = {
    "done": "set; nothing was pale",
    "skipped": "skipped",
    "pale": "something was pale or shrunken: held",
    "resumed": "carried on",
    "back": "went back a step",
    "stopped": "given up",
}


@dataclass(frozen=True, kw_only=True)
class ToldLine:
    """One thing that was told on the way."""

    on: str
    words: str
    note: str


@dataclass(frozen=True, kw_only=True)
class WayView:
    """A way up under way, held, or over."""

    id: int
    name: str
    own: bool
    answer: str
    do: str
    sure: str
    state: str
    due: bool
    waiting: str
    step_number: int
    step_words: tuple[str, ...]
    lamps: tuple[LampLines, ...]
    peak_told: str
    beyond: tuple[str, ...]
    look_at: tuple[str, ...]
    may_go_back: bool
    steps: tuple[StepLine, ...]
    past_lines: tuple[PastLine, ...]
    told: tuple[ToldLine, ...]
    values: dict[str, str]
    errors: dict[str, str]


def way_view(
    who: Member,
    seen: UnderWay,
    *,
    values: Mapping[str, str],
    errors: Mapping[str, str],
) -> WayView:
    """Where the way stands today."""
    way = way_by(seen.plan, seen.steps, seen.today)
    assert way is not None  # a plan under way has a step to come
    setting = way.coming.setting
    return WayView(
        id=seen.tank.id,
        name=seen.tank.name,
        own=seen.tank.owner_id == who.id,
        answer=words.where_words(way, seen.today),
        do=words.do_words(way),
        sure=SURE,
        state=seen.plan.state,
        due=way.state == "due",
        waiting="" if way.state == "due" else filters.day(way.coming.due_on),
        step_number=way.coming.number,
        step_words=setting_words(setting, seen.goal, who),
        lamps=_step_lamps(seen, setting, who) if setting.lit_share < 1 else (),
        peak_told=peak_words(seen.plan.peak_jump),
        beyond=_beyond(seen, way),
        look_at=LOOK_AT,
        may_go_back=sum(one.done_on is not None for one in seen.steps) >= 2,
        steps=_step_lines(who, seen, way),
        past_lines=_past_lines(seen),
        told=_told(seen),
        values={"pale": "", "note": "", **values},
        errors=dict(errors),
    )


def _beyond(seen: UnderWay, way: WayNow) -> tuple[str, ...]:
    """Who is out of range at the step that comes, and where the way ends."""
    animals = seen.lived.animals
    said = [beyond_words("With this step", seen.goal, animals, way.coming.setting)]
    if way.coming.number < way.of:
        said.append(beyond_words("At the end", seen.goal, animals, PLANNED))
    return tuple(one for one in said if one)


def _past_lines(seen: UnderWay) -> tuple[PastLine, ...]:
    known, last = json.loads(seen.plan.used_to), json.loads(seen.steps[-1].dlis)
    return tuple(
        past_line(one["name"], one["from"], one["dli_mol_m2_d"], dli)
        for one, dli in zip(known, last, strict=True)
    )


def _told(seen: UnderWay) -> tuple[ToldLine, ...]:
    return tuple(
        ToldLine(
            on=filters.day(one.told_on),
            words=f"Step {one.step_number}: {ANSWER_WORDS[one.answer]}",
            note=one.note,
        )
        for one in reversed(seen.answers)
    )


def _step_lines(who: Member, seen: UnderWay, way: WayNow) -> tuple[StepLine, ...]:
    coming = "held" if way.state == "held" else "next"
    lines = []
    for step in seen.steps:
        dlis = json.loads(step.dlis)
        set_on = f"set on {filters.day(step.done_on)}" if step.done_on else ""
        lines.append(
            StepLine(
                number=step.number,
                on=filters.day(step.due_on),
                state=set_on or (coming if step.number == way.coming.number else ""),
                set_words="; ".join(setting_words(setting_of(step), seen.goal, who)),
                rise=rise_words(step.largest_rise),
                pace=step.limited_by,
                least=filters.significant(min(dlis)),
                most=filters.significant(max(dlis)),
            )
        )
    return tuple(lines)


def _step_lamps(seen: UnderWay, setting: Setting, who: Member) -> tuple[LampLines, ...]:
    days = pressed_together(seen.goal.days, setting.lit_share)
    lamps = of_days(at_setting(seen.goal.hung, setting), days, control=seen.goal.control)
    return lamp_lines(lamps, who.clock)


def refused_words(name: str, rise: float, weekly: float) -> str:
    """Why a step may not be set after all."""
    much = filters.percent(rise) if rise < 100 else "far"
    return (
        f"This step would now give {name} {much} more light than it lives in, and "
        f"{filters.percent(weekly)} is allowed. It was moved, is new, or the goal was changed: "
        "give this plan up and draw up a new one."
    )
