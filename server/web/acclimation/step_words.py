"""The words both pages of a way share: a step, an animal's past, how sure it is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.account import reckoning, sentences
from server.account.account import AnimalLight
from server.db import accounts
from server.db.goal import Goal
from server.db.typed_now import at_setting
from server.dose.day import added, course, stretches_above
from server.dose.ladder import Setting
from server.dose.setpoints import clock_time
from server.models import Animal, Member
from server.web import filters
from server.web.times import read_time, shown_hours, shown_time

SURE = (
    "The limit is kept on the light field, at every animal, for the dose and for the peak. "
    "10–20 % a week is our own derivation from published times of adjusting (about three weeks); "
    "no paper that was read gives a percentage per week."
)


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


def past_line(name: str, basis: str, used: float, dli: float) -> PastLine:
    times = f"{filters.significant(dli / used, 2)} times" if used > 0 else ""
    return PastLine(
        name=name,
        basis=basis,
        used=filters.significant(used),
        goal=filters.significant(dli),
        times=times,
    )


def rise_words(largest_rise: float) -> str:
    """The largest rise of a step; one that only dims says so."""
    return filters.percent(largest_rise, 1) if largest_rise > 0 else "none"


def peak_words(peak_jump: float) -> str:
    """What hours alone cannot do."""
    if peak_jump <= 0.01:
        return ""
    return (
        f"By hours alone the dose is led up slowly, but the peak is not: on the first day it is "
        f"{filters.percent(peak_jump)} higher than an animal is used to. Hang the lamp higher or "
        "turn it down as well, if you can."
    )


def beyond_words(when: str, goal: Goal, animals: Sequence[Animal], setting: Setting) -> str:
    """Who would stand outside the range it should get, '' when nobody would for sure enough."""
    said = sentences.out_of_range(judged(goal, animals, setting))
    return f"{when}: {said}" if said else ""


def judged(goal: Goal, animals: Sequence[Animal], setting: Setting) -> tuple[AnimalLight, ...]:
    """The account's verdict on animals at a setting of the way."""
    rows = replace(goal.rows, hung=at_setting(goal.hung, setting), animals=tuple(animals))
    found = accounts.tank_light(rows)
    return reckoning.animals_in(found.light if found else None, accounts.residents(rows))
