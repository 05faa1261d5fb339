"""What the pages of a way up show: planning it, where it stands, what was told on the way."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from server.db.acclimation import KnownAs, next_step, setting_of
from server.db.daylight import lamp_days, pressed_together
from server.db.goal import Goal
from server.dose.acclimation import LOOK_AT, Plan
from server.dose.day import added, course, stretches_above
from server.dose.ladder import Setting
from server.dose.setpoints import clock_time
from server.dose.warnings import LOW_DLI
from server.models import (
    AcclimationAnswer,
    AcclimationPlan,
    AcclimationStep,
    Animal,
    Member,
    Tank,
)
from server.web import filters
from server.web.acclimation.work import at_setting
from server.web.day.form import ChannelField
from server.web.day.view import LampLines, lamp_lines
from server.web.dose.times import read_time, shown_hours, shown_time

ANSWER_WORDS = {
    "done": "set; nothing was pale",
    "skipped": "skipped",
    "pale": "something was pale or shrunken: held",
    "resumed": "carried on",
    "back": "went back a step",
    "stopped": "given up",
}


@dataclass(frozen=True, kw_only=True)
class StepLine:
    """One step in the table."""

    number: int
    on: str
    state: str
    set_words: str
    rise: str
    pace: str
    least: str
    most: str


@dataclass(frozen=True, kw_only=True)
class PastLine:
    """What one animal is used to and what it is to get."""

    name: str
    basis: str
    used: str
    goal: str
    times: str


@dataclass(frozen=True, kw_only=True)
class ToldLine:
    """One thing that was told on the way."""

    on: str
    words: str
    note: str


@dataclass(frozen=True, kw_only=True)
class PlanForm:
    """The form of a way up, with the plan it gives."""

    id: int
    name: str
    ready: bool
    missing: str
    values: dict[str, str]
    errors: dict[str, str]
    goals: tuple[tuple[str, str], ...]
    days: tuple[tuple[str, str], ...]
    pasts: tuple[tuple[str, str], ...]
    animals: tuple[tuple[str, str], ...]
    unit: str
    more: bool
    room_told: str
    answer: str = ""
    do: str = ""
    sure: str = ""
    peak_told: str = ""
    dimmed: tuple[str, ...] = ()
    refused: str = ""
    steps: tuple[StepLine, ...] = ()
    past_lines: tuple[PastLine, ...] = ()
    channels: tuple[ChannelField, ...] = ()


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


def setting_words(setting: Setting, goal: Goal, who: Member) -> tuple[str, ...]:
    """A step in the words of somebody standing at the lamps, one line a lamp."""
    lines = []
    for one in at_setting(goal.hung, setting):
        height = filters.length(one.row.height_cm, who.length_unit)
        power = f"{filters.number(100 * one.row.power, 1).removesuffix('.0')} %"
        name = f"{one.stated.row.name}: " if len(goal.hung) > 1 else ""
        lines.append(f"{name}power {power}, {height} over the water")
    hours = _hours_words(setting, goal, who.clock)
    return (*dict.fromkeys(lines), *([hours] if hours else []))


def _hours_words(setting: Setting, goal: Goal, clock: str) -> str:
    if setting.lit_share >= 1:
        return ""
    one = added(course(day, peak_ppfd=1) for day in goal.able(setting.lit_share))
    stretches = stretches_above(one, 1e-9)
    if not stretches:
        return ""
    start, length = max(stretches, key=lambda stretch: stretch[1])
    on, off = (read_time(clock_time(hour % 24)) for hour in (start, start + length))
    return f"Lit {shown_time(on, clock)} to {shown_time(off, clock)}, {shown_hours(length)}"


# Planning


def plan_answer(plan: Plan) -> tuple[str, str]:
    """The plan in one sentence, and what to do."""
    if len(plan.steps) == 1:
        return (
            "The animals can take the new light at once.",
            f"No animal's light rises by more than {filters.percent(plan.weekly_rise)}.",
        )
    weeks = filters.number(plan.weeks, 1).removesuffix(".0")
    return (
        f"{len(plan.steps)} steps in {weeks} weeks, from {filters.day(plan.steps[0].on)} "
        f"to {filters.day(plan.steps[-1].on)}.",
        f"Before each step look at the animals; no step gives any of them more than "
        f"{filters.percent(plan.weekly_rise)} more light.",
    )


SURE = (
    "The limit is kept on the light field, at every animal, for the dose and for the peak. "
    "10–20 % a week is our own derivation from published times of adjusting (about three weeks); "
    "no paper that was read gives a percentage per week."
)


def peak_words(peak_jump: float) -> str:
    """What hours alone cannot do."""
    if peak_jump <= 0.01:
        return ""
    return (
        f"By hours alone the dose is led up slowly, but the peak is not: on the first day it is "
        f"{filters.percent(peak_jump)} higher than an animal is used to. Hang the lamp higher or "
        "turn it down as well, if you can."
    )


NOTABLE_FALL = 0.3
LOW_FOR_DAYS = 30  # how long the corals of the published low-light trial were kept


def dimmed_words(plan: Plan, known: Sequence[KnownAs]) -> tuple[str, ...]:
    """What the first steps take from animals that were used to more light."""
    first, pace = plan.steps[0], plan.limited_by[0]
    falls = [
        (1 - dli / one.used_to.dli_mol_m2_d, one.used_to.name)
        for one, dli in zip(known, first.dlis_mol_m2_d, strict=True)
        if one.used_to.dli_mol_m2_d > 0
    ]
    fall, name = max(falls, default=(0.0, ""))
    said = []
    if fall > NOTABLE_FALL:
        said.append(
            f"The first step gives {name} {filters.percent(fall)} less light than it is used to, "
            f"because {pace} comes from much dimmer light. It is often better to set {pace} "
            "deeper or in shade for the first weeks, and to plan anew with it there."
        )
    low = _low_for_long(plan)
    if low:
        said.append(
            f"{', '.join(low[:4])} would stay below 1.2 mol m⁻² d⁻¹ for a month or more, the "
            "published low-light threshold (Bessell-Browne et al. 2017, 30 days)."
        )
    return tuple(said)


def beyond_words(
    when: str, ids: Sequence[int], peaks_ppfd: Sequence[float], animals: Sequence[Animal]
) -> str:
    """Who would stand outside the range it should get, '' when nobody would."""
    by_id = {animal.id: animal for animal in animals}
    told: dict[str, list[str]] = {"too bright": [], "too dim": []}
    for animal_id, peak in zip(ids, peaks_ppfd, strict=True):
        animal = by_id.get(animal_id)
        if animal is None or animal.low_ppfd <= peak <= animal.high_ppfd:
            continue
        kind = "too bright" if peak > animal.high_ppfd else "too dim"
        wants = f"{filters.ppfd(animal.low_ppfd)}–{filters.ppfd(animal.high_ppfd)}"
        told[kind].append(f"{animal.name} ({filters.ppfd(peak)}, wants {wants})")
    said = [f"{kind} for {', '.join(names)}" for kind, names in told.items() if names]
    if not said:
        return ""
    return f"{when} the light would be {' and '.join(said)}, in µmol m⁻² s⁻¹ at its brightest."


def _low_for_long(plan: Plan) -> list[str]:
    """Animals whose dose stays under the threshold for as long as it was tried."""
    if (plan.steps[-1].on - plan.steps[0].on).days < LOW_FOR_DAYS:
        return []
    late = [step for step in plan.steps if (step.on - plan.steps[0].on).days <= LOW_FOR_DAYS]
    return [
        name for place, name in enumerate(plan.names) if late[-1].dlis_mol_m2_d[place] < LOW_DLI[0]
    ]


def planned_lines(plan: Plan, goal: Goal, who: Member) -> tuple[StepLine, ...]:
    """The steps of a plan not kept yet."""
    return tuple(
        StepLine(
            number=step.number,
            on=filters.day(step.on),
            state="",
            set_words="; ".join(setting_words(step.setting, goal, who)),
            rise=filters.percent(step.largest_rise, 1),
            pace=pace,
            least=filters.significant(min(step.dlis_mol_m2_d)),
            most=filters.significant(max(step.dlis_mol_m2_d)),
        )
        for step, pace in zip(plan.steps, plan.limited_by, strict=True)
    )


def past_lines(known: Sequence[KnownAs], dlis: Sequence[float]) -> tuple[PastLine, ...]:
    """Each animal's way: from, to, how many times."""
    return tuple(
        _past_line(one.used_to.name, one.basis, one.used_to.dli_mol_m2_d, dli)
        for one, dli in zip(known, dlis, strict=True)
    )


def _past_line(name: str, basis: str, used: float, dli: float) -> PastLine:
    times = f"{filters.significant(dli / used, 2)} times" if used > 0 else ""
    return PastLine(
        name=name,
        basis=basis,
        used=filters.significant(used),
        goal=filters.significant(dli),
        times=times,
    )


# Under way


def _beyond(
    steps: Sequence[AcclimationStep],
    step: AcclimationStep | None,
    known: Sequence[Mapping[str, Any]],
    animals: Sequence[Animal],
) -> tuple[str, ...]:
    """Who is out of range at the step that comes, and where the way ends."""
    if step is None:
        return ()
    ids = [one["animal_id"] for one in known]
    said = [beyond_words("With this step", ids, json.loads(step.peaks), animals)]
    if step.id != steps[-1].id:
        said.append(beyond_words("At the end", ids, json.loads(steps[-1].peaks), animals))
    return tuple(words for words in said if words)


def way_view(
    who: Member,
    tank: Tank,
    plan: AcclimationPlan,
    steps: Sequence[AcclimationStep],
    answers: Sequence[AcclimationAnswer],
    goal: Goal,
    animals: Sequence[Animal],
    *,
    today: date,
    values: Mapping[str, str],
    errors: Mapping[str, str],
) -> WayView:
    """Where the way stands today."""
    step = next_step(steps)
    open_ = plan.state in ("running", "held")
    due = open_ and plan.state == "running" and step is not None and step.due_on <= today
    setting = setting_of(step) if step else Setting()
    answer, do = _where(plan, steps, step, today, due=due)
    known = json.loads(plan.used_to)
    last = json.loads(steps[-1].dlis)
    return WayView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        answer=answer,
        do=do,
        sure=SURE,
        state=plan.state,
        due=due,
        waiting="" if due or step is None else filters.day(step.due_on),
        step_number=step.number if step else 0,
        step_words=setting_words(setting, goal, who) if step and open_ else (),
        lamps=_step_lamps(goal, setting, who) if step and open_ and setting.lit_share < 1 else (),
        peak_told=peak_words(plan.peak_jump),
        beyond=_beyond(steps, step if open_ else None, known, animals),
        look_at=LOOK_AT,
        may_go_back=sum(one.done_on is not None for one in steps) >= 2,
        steps=_step_lines(steps, goal, who, plan),
        past_lines=tuple(
            _past_line(one["name"], one["from"], one["dli_mol_m2_d"], dli)
            for one, dli in zip(known, last, strict=True)
        ),
        told=tuple(
            ToldLine(
                on=filters.day(one.told_on),
                words=f"Step {one.step_number}: {ANSWER_WORDS[one.answer]}",
                note=one.note,
            )
            for one in reversed(answers)
        ),
        values={"pale": "", "note": "", **values},
        errors=dict(errors),
    )


def _where(
    plan: AcclimationPlan,
    steps: Sequence[AcclimationStep],
    step: AcclimationStep | None,
    today: date,
    *,
    due: bool,
) -> tuple[str, str]:
    of = len(steps)
    if plan.state == "done":
        return "The way up is finished.", "Now leave the light alone."
    if plan.state == "stopped" or step is None:
        return "This way up was given up.", "The light stays as it was last set."
    if plan.state == "held":
        since = filters.day(plan.held_since or today)
        return (
            f"The plan holds before step {step.number} of {of}, since {since}.",
            "Leave the light as it is and look at the animals.",
        )
    if due:
        late = (today - step.due_on).days
        words = "is due today" if not late else f"has been due since {filters.day(step.due_on)}"
        return f"Step {step.number} of {of} {words}.", "Look at every animal, then answer below."
    return (
        f"Step {step.number} of {of} comes on {filters.day(step.due_on)}.",
        "Leave the light as it is until then.",
    )


def _step_lines(
    steps: Sequence[AcclimationStep], goal: Goal, who: Member, plan: AcclimationPlan
) -> tuple[StepLine, ...]:
    coming = next_step(steps)
    lines = []
    for step in steps:
        dlis = json.loads(step.dlis)
        if step.done_on is not None:
            state = f"set on {filters.day(step.done_on)}"
        elif step is coming:
            state = "held" if plan.state == "held" else "next"
        else:
            state = ""
        lines.append(
            StepLine(
                number=step.number,
                on=filters.day(step.due_on),
                state=state,
                set_words="; ".join(setting_words(setting_of(step), goal, who)),
                rise=filters.percent(step.largest_rise, 1),
                pace=step.limited_by,
                least=filters.significant(min(dlis)),
                most=filters.significant(max(dlis)),
            )
        )
    return tuple(lines)


def _step_lamps(goal: Goal, setting: Setting, who: Member) -> tuple[LampLines, ...]:
    days = pressed_together(goal.days, setting.lit_share)
    return lamp_lines(lamp_days(goal.hung, days, control=goal.control), who.clock)


def rise_words(name: str, rise: float, weekly: float) -> str:
    """Why a step may not be set after all."""
    much = filters.percent(rise) if rise < 100 else "far"
    return (
        f"This step would now give {name} {much} more light than it lives in, and "
        f"{filters.percent(weekly)} is allowed. It was moved, is new, or the goal was changed: "
        "give this plan up and draw up a new one."
    )
