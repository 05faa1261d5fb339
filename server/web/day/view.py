"""What the page of a tank's day shows; its form and its card take their parts from here."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from server.account import way as words
from server.db import lived_under
from server.db.carried_readings import factors_at, places_of
from server.db.daylight import LampDay, cost_of, lamp_course, lamp_days
from server.db.days import GroupDay
from server.db.light import Hung
from server.db.lived_under import LivedRows
from server.db.moments import Moment
from server.dose.clock import clock_changes
from server.dose.control import KIND_NAMES, apart, together
from server.dose.day import Course, course, faint_hours, lit_hours, longest_dark_hours
from server.dose.setpoints import set_points, switch_times
from server.dose.shapes import Viewing, seen_hours
from server.dose.unchanged import Unchanged, in_words, unchanged
from server.dose.warnings import DARK_HOURS, NIGHT_LIGHT_SOURCE
from server.dose.way_now import WayNow
from server.models import Club, Member, Schedule, Tank
from server.web import filters
from server.web.day.animal_dose import AnimalDose, animal_doses, dose_span
from server.web.day.doing import do_words
from server.web.day.lit import Lit, lit, on_the_wall
from server.web.dose.day_chart import DayCharts, day_charts
from server.web.dose.times import read_time, shown_hours, shown_time


@dataclass(frozen=True, kw_only=True)
class PointLine:
    """One line to type into a lamp."""

    group: str
    time: str
    percent: str
    then: str


@dataclass(frozen=True, kw_only=True)
class LampLines:
    """What to set on one lamp model: lines for a lamp with levels, times for a switch."""

    name: str
    control: str
    switches: tuple[tuple[str, str], ...]
    lines: tuple[PointLine, ...]
    lost: tuple[str, ...]
    kept: str


@dataclass(frozen=True, kw_only=True)
class StayView:
    """How long the light has been left alone."""

    words: str
    judged: str
    not_shown: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class CostView:
    """What the day costs."""

    kwh_day: str
    kwh_year: str
    money_year: str
    mol_day: str
    per_mol: str
    basis: str


@dataclass(frozen=True, kw_only=True)
class DayView:
    """The page of a tank's day."""

    id: int
    name: str
    own: bool
    hung: bool
    answer: str
    do: str
    sure: str
    charts: DayCharts | None = None
    lamps: tuple[LampLines, ...] = ()
    doses: tuple[AnimalDose, ...] = ()
    night: str = ""
    night_source: str = NIGHT_LIGHT_SOURCE
    clock: str = ""
    seen: str = ""
    stay: StayView | None = None
    cost: CostView | None = None
    acclimate: bool = False
    jumped: str = ""
    plans: tuple[tuple[int, str], ...] = ()


# The day's page


def day_page(
    who: Member,
    tank: Tank,
    now: Moment,
    lived: LivedRows,
    club: Club,
    today: date,
    *,
    way: WayNow | None = None,
    plans: Sequence[Schedule] = (),
) -> DayView:
    """Everything about the day as it runs; the teaching page where none is set.

    `plans`: days drawn up and not run yet.
    """
    shell = DayView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        hung=bool(now.hung),
        answer=_nothing(tank, now),
        do="",
        sure="",
        plans=tuple((one.id, _plan_words(one)) for one in plans),
    )
    found = lit_moment(tank, now)
    if found is None or now.schedule is None:
        return shell
    rises = lived_under.rises(lived)
    jumped = () if way else lived_under.jumped(lived, rises)
    doses = animal_doses(found, rises)
    lamp = lamp_course(found.groups)
    walls = on_the_wall(now.schedule, now.days, today)
    return replace(
        shell,
        answer=_answer(lamp, doses),
        do=do_words(doses, lamp, now.changed_on, today, way=way, jumped=jumped),
        sure=sure_words(now),
        charts=percent_charts(now.hung, walls, now.control, who.clock),
        lamps=lamp_lines(lamp_days(now.hung, walls, control=now.control), who.clock),
        doses=doses,
        night=_night(lamp),
        clock=clock_words(now, today),
        seen=_seen(now, lamp, walls),
        stay=stay_view(now.changed_on, today),
        cost=cost_view(tank, found, club),
        acclimate=bool(jumped),
        jumped=words.jump_words(jumped),
    )


def _plan_words(plan: Schedule) -> str:
    why = f": {plan.reason}" if plan.reason else ""
    return f"Drawn up on {filters.day(plan.since)}{why}"


def lit_moment(tank: Tank, at: Moment) -> Lit | None:
    """The tank lit as it was at a moment."""
    factors = factors_at(at.surveyed, tank, places_of(tank, at.animals))
    return lit(tank, at.hung, at.days, control=at.control, animals=at.animals, factors=factors)


def _nothing(tank: Tank, now: Moment) -> str:
    if not now.hung:
        return f"No lamp hangs over {tank.name} yet, so there is no day to plan."
    return f"{tank.name} has no day yet."


def _answer(lamp: Course, doses: Sequence[AnimalDose]) -> str:
    """Moonlight, below a twentieth of full, is told apart from the lit day."""
    if lamp.peak_ppfd == 0:
        return "The lamps never come on."
    faint = faint_hours(lamp)
    words = f"Lit {shown_hours(lit_hours(lamp) - faint)} a day"
    if faint:
        words += f" and {shown_hours(faint)} of faint light"
    if doses:
        words += f"; the animals get {dose_span(doses)} mol m⁻² d⁻¹"
    return f"{words}."


def sure_words(now: Moment) -> str:
    """How sure the light is: by readings, carried over from earlier ones, or planned only."""
    found = now.surveyed
    if found is not None:
        told = filters.count(found.count, "reading")
        under = " under earlier settings of the same lamps" if found.carried else ""
        return (
            f"The light is put right by {told} of {filters.day(found.taken_on)}{under}; the sum "
            "over the day is exact."
        )
    estimated = any(one.stated.estimated for one in now.hung)
    flux = " Some lamps' light is only estimated from their watts." if estimated else ""
    return (
        "The sum over the day is exact; the light itself is worked out from lamps and glass, not "
        f"measured.{flux}"
    )


def _night(lamp: Course) -> str:
    dark = longest_dark_hours(lamp)
    if dark >= DARK_HOURS:
        return ""
    return (
        f"Only {shown_hours(dark)} of real darkness. Faint light all night for a month harmed "
        "algae and corals in published trials."
    )


def _seen(now: Moment, lamp: Course, walls: Sequence[GroupDay]) -> str:
    schedule = now.schedule
    if schedule is None or schedule.view_from_h is None or schedule.view_to_h is None:
        return ""
    viewing = Viewing(from_h=schedule.view_from_h, to_h=schedule.view_to_h)
    seen = max(seen_hours(group.day, viewing) for group in walls)
    return f"You see it lit for {shown_hours(seen)} of the {shown_hours(viewing.hours)} you want."


# The lamps' set-points


def lamp_lines(lamps: Sequence[LampDay], clock: str) -> tuple[LampLines, ...]:
    """What to type into each lamp."""
    return tuple(_lamp_lines(lamp, clock) for lamp in lamps)


def _lamp_lines(lamp: LampDay, clock: str) -> LampLines:
    switched = lamp.control in ("by_hand", "clock_switch")
    change = lamp.fit.dose_change
    return LampLines(
        name=lamp.name,
        control=KIND_NAMES[lamp.control],
        switches=tuple(
            (_clock(on, clock), _clock(off, clock))
            for on, off in (switch_times(lamp.fit.groups[0]) if switched else ())
        ),
        lines=tuple(
            PointLine(
                group=point.group,
                time=_clock(point.time, clock),
                percent=f"{filters.number(point.percent, 1).removesuffix('.0')} %",
                then=point.then,
            )
            for point in (() if switched else set_points(lamp.fit.groups))
        ),
        lost=lamp.fit.lost,
        kept="" if abs(change) >= 0.005 else "The dose is kept.",
    )


def _clock(hh_mm: str, clock: str) -> str:
    return shown_time(read_time(hh_mm), clock)


def percent_charts(
    hung: Sequence[Hung], days: Sequence[GroupDay], control: str, clock: str
) -> DayCharts:
    """What the lamps do through the day, in percent; groups that run apart as curves of their own.

    The wanted day is drawn beside it where the control cannot run it.
    """
    lamps = lamp_days(hung, days, control=control)
    able = lamps[0].fit.groups
    wanted = together(lamps[0].wanted)
    others: list[tuple[str, Course]] = []
    if apart(wanted, together(able)) > 0.5:
        others.append(("wanted", wanted))
    if len(able) > 1:
        others += [(group.name, course(group.day, peak_ppfd=100)) for group in able[:3]]
    for lamp in lamps[1:]:
        if lamp.fit.groups != able:
            others.append((lamp.name, together(lamp.fit.groups)))
    return day_charts(
        together(able),
        title="The day of the lamps",
        others=tuple(others[:3]),
        y_name="% of the power set",
        note="",
        clock=clock,
    )


# Clock, staying put, cost


def clock_words(now: Moment, today: date) -> str:
    """What the next clock change asks of the keeper."""
    schedule = now.schedule
    if schedule is None:
        return ""
    changes = clock_changes(schedule.time_zone, after=today)
    if not changes:
        return ""
    change = changes[0]
    on, hours = filters.day(change.on), abs(change.forward_hours)
    way = "forward" if change.forward_hours > 0 else "back"
    if schedule.follows_clock:
        return f"Clocks go {way} on {on}, and the tank's day jumps with them, as you asked."
    later = "later" if change.forward_hours > 0 else "earlier"
    return (
        f"Clocks go {way} on {on}. The animals' day stays: from then on every time above is "
        f"{shown_hours(hours)} {later} on the clock. A lamp whose clock does not change needs "
        "nothing."
    )


def stay_view(changed_on: date | None, today: date) -> StayView | None:
    """How long the light has been unchanged and what it cannot have shown yet."""
    if changed_on is None:
        return None
    found = unchanged(changed_on=changed_on, today=today)
    return StayView(
        words=_stay_words(found),
        judged=(
            f"First look from {filters.day(found.first_look_on)} (three weeks, our derivation "
            f"from published times); judged as a whole between {filters.day(found.judge_from)} "
            f"and {filters.day(found.judge_until)} (9–12 months, common practice)."
        ),
        not_shown=tuple((sign.what, sign.basis) for sign in found.not_shown),
    )


def _stay_words(found: Unchanged) -> str:
    if found.days == 0:
        return "The light was changed today."
    since = filters.day(found.since)
    return f"The light has been unchanged for {in_words(found.days)}, since {since}."


def cost_view(tank: Tank, found: Lit, club: Club) -> CostView:
    """Running cost of the day as it runs."""
    cost = cost_of(tank, found.groups, price_per_kwh=club.price_per_kwh)
    money = "" if cost.money_per_mol is None else f"{cost.money_per_mol:.3f} {club.currency}"
    return CostView(
        kwh_day=f"{filters.significant(cost.kwh_per_day)} kWh",
        kwh_year=f"{filters.number(cost.kwh_per_year)} kWh",
        money_year=f"{filters.number(cost.money_per_year)} {club.currency}",
        mol_day=f"{filters.significant(cost.mol_per_day)} mol",
        per_mol=(
            ""
            if cost.kwh_per_mol is None
            else f"{filters.significant(cost.kwh_per_mol)} kWh, {money}"
        ),
        basis=(
            f"At {club.price_per_kwh:g} {club.currency} per kWh, the club's price; watts are taken "
            "to follow the level in proportion (our assumption: dimmed LEDs are a little better)."
        ),
    )
