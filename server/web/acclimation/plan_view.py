"""What the page of planning a way shows: the form, and the steps it gives."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.db.acclimation import KnownAs
from server.db.goal import Goal
from server.dose.acclimation import WEEKLY_FALL, Plan
from server.dose.warnings import LOW_DLI
from server.models import Member
from server.web import filters
from server.web.acclimation.desk import Desk
from server.web.acclimation.step_words import (
    SURE,
    PastLine,
    StepLine,
    past_line,
    rise_words,
    setting_words,
)
from server.wording import figures


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
    reserves: tuple[str, ...] = ()
    keepable: bool = False
    steps: tuple[StepLine, ...] = ()
    past_lines: tuple[PastLine, ...] = ()
    jump: str = ""
    used: tuple[PastLine, ...] = ()
    today: str = ""


@dataclass(frozen=True, kw_only=True)
class Found:
    """A plan that is not kept yet, with where it leads and what it starts from."""

    plan: Plan
    goal: Goal
    known: tuple[KnownAs, ...]


def with_plan(form: PlanForm, found: Found, reserves: tuple[str, ...], who: Member) -> PlanForm:
    """The form with the plan above it."""
    answer, do = plan_answer(found.plan)
    last = found.plan.steps[-1].dlis_mol_m2_d if found.plan.steps else ()
    return replace(
        form,
        answer=answer,
        do=do,
        sure=SURE,
        reserves=reserves,
        keepable=bool(found.plan.steps),
        steps=planned_lines(found.plan, found.goal, who),
        past_lines=past_lines(found.known, last) if last else (),
    )


def plan_answer(plan: Plan) -> tuple[str, str]:
    """The plan in one sentence, and what to do."""
    if not plan.steps:
        return (
            "No way is needed: the animals are used to this light.",
            "Leave the light as it is.",
        )
    if len(plan.steps) == 1:
        return (
            "The animals can take the new light at once.",
            f"No animal's light rises by more than {filters.percent(plan.weekly_rise)}.",
        )
    weeks = filters.number(plan.weeks, 1).removesuffix(".0")
    if leads_down(plan):
        return (
            f"{len(plan.steps)} steps down in {weeks} weeks, from {filters.day(plan.steps[0].on)} "
            f"to {filters.day(plan.steps[-1].on)}.",
            f"No step takes more than {filters.percent(WEEKLY_FALL)} from any animal.",
        )
    return (
        f"{len(plan.steps)} steps in {weeks} weeks, from {filters.day(plan.steps[0].on)} "
        f"to {filters.day(plan.steps[-1].on)}.",
        f"Before each step look at the animals; no step gives any of them more than "
        f"{filters.percent(plan.weekly_rise)} more light.",
    )


NOTABLE_FALL = 0.3
LOW_FOR_DAYS = 30  # how long the corals of the published low-light trial were kept


WHY_DOWN = (
    "Animals adjust to less light as slowly as to more, within about three weeks (Acropora "
    "muricata, both ways: J Exp Biol 222:jeb195982, abstract), and until then they make less food "
    "than they live on. How much at once is our judgement; no published figure was found."
)


def at_once_words(too_bright: Sequence[str]) -> str:
    """Why a dimmer light is taken at once."""
    names = figures.listed(too_bright[:3])
    return (
        f"The light may go down at once: {names} {'gets' if len(too_bright) == 1 else 'get'} more "
        "than wanted now, and weeks of too much are worse."
    )


def leads_down(plan: Plan) -> bool:
    """Whether the steps come from brighter light than the goal."""
    first = plan.steps[0].setting
    return first.power > 1 or first.raised_cm < 0


def dimmed_words(plan: Plan, known: Sequence[KnownAs]) -> tuple[str, ...]:
    """What the first steps take from animals that were used to more light."""
    if not plan.steps:
        return ()
    if leads_down(plan):
        return (WHY_DOWN,)
    first, pace = plan.steps[0], plan.limited_by[0]
    falls = [
        (1 - dli / one.used_to.dli_mol_m2_d, one.used_to.name)
        for one, dli in zip(known, first.dlis_mol_m2_d, strict=True)
        if one.used_to.dli_mol_m2_d > 0
    ]
    fall, name = max(falls, default=(0.0, ""))
    said = []
    if fall > NOTABLE_FALL and len(plan.steps) > 1:
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
            rise=rise_words(step.largest_rise),
            pace=pace,
            least=filters.significant(min(step.dlis_mol_m2_d)),
            most=filters.significant(max(step.dlis_mol_m2_d)),
        )
        for step, pace in zip(plan.steps, plan.limited_by, strict=True)
    )


def used_lines(desk: Desk, known: Sequence[KnownAs]) -> tuple[PastLine, ...]:
    """What each animal is used to by now, and what it gets today."""
    return tuple(
        past_line(
            one.used_to.name,
            one.basis,
            one.used_to.dli_mol_m2_d,
            desk.now[one.animal_id].dli_mol_m2_d,
        )
        for one in known
        if one.animal_id in desk.now
    )


def past_lines(known: Sequence[KnownAs], dlis: Sequence[float]) -> tuple[PastLine, ...]:
    """Each animal's way: from, to, how many times."""
    return tuple(
        past_line(one.used_to.name, one.basis, one.used_to.dli_mol_m2_d, dli)
        for one, dli in zip(known, dlis, strict=True)
    )
