"""What the page of a tank's day shows; its form and its card take their parts from here."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from server.account import sentences
from server.account import way as words
from server.db import lived_under
from server.db.accounts import Told
from server.db.daylight import cost_of, lamp_course
from server.db.days import GroupDay
from server.db.lived_under import LivedRows
from server.db.moments import Moment
from server.db.typed_now import Typed, on_the_wall
from server.dose.clock import clock_changes
from server.dose.day import Course, dli, faint_hours, lit_hours, longest_dark_hours
from server.dose.shapes import Viewing, seen_hours
from server.dose.warnings import DARK_HOURS, NIGHT_LIGHT_SOURCE
from server.dose.way_now import WayNow
from server.models import Club as ClubRow
from server.models import Member, Schedule, Tank
from server.web import filters
from server.web.day.animal_dose import AnimalDose, animal_doses, dose_span
from server.web.day.doing import do_words
from server.web.day_chart import DayCharts, day_charts
from server.web.lamp_lines import LampLines, lamp_lines, percent_charts
from server.web.lit import Lit, lit
from server.web.staying import StayView, stay_view
from server.web.times import shown_hours


@dataclass(frozen=True, kw_only=True)
class PartView:
    """What one animal gets of each lamp: its dose, and the part of each lamp in it."""

    name: str
    dose: str
    brightest: str
    parts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class PartsView:
    """The sum at each animal and each lamp's part, where lamps run apart."""

    lamps: tuple[str, ...]
    animals: tuple[PartView, ...]
    drawn: str
    charts: DayCharts


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
    beside: tuple[str, ...] = ()
    sure: str
    charts: DayCharts | None = None
    lamps: tuple[LampLines, ...] = ()
    way: str = ""
    parts: PartsView | None = None
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
    told: Told,
    lived: LivedRows,
    club: ClubRow,
    today: date,
    *,
    way: WayNow | None = None,
    typed: Typed,
    plans: Sequence[Schedule] = (),
) -> DayView:
    """Everything about the day as it runs; the teaching page where none is set.

    `told`: the account of the light. `typed`: what is typed into the lamps. `plans`: days drawn up
    and not run yet.
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
    found = lit_known(told)
    if found is None or now.schedule is None:
        return shell
    rises = lived_under.rises(lived)
    jumped = () if way else lived_under.jumped(lived, rises)
    doses = animal_doses(found, rises)
    lamp = lamp_course(found.groups)
    walls = on_the_wall(now.schedule, now.days, today)
    do = do_words(doses, lamp, now.changed_on, today, way=way, jumped=jumped, told=told)
    return replace(
        shell,
        answer=_answer(lamp, doses),
        do=do,
        beside=sentences.beside(told.account, do),
        sure=sure_words(told),
        charts=percent_charts(now.hung, walls, now.control, who.clock),
        lamps=lamp_lines(typed.now, who.clock),
        way=way_words(typed),
        parts=_parts(found, who.clock),
        doses=doses,
        night=_night(lamp),
        clock=clock_words(now, today),
        seen=_seen(now, lamp, walls),
        stay=stay_view(now.changed_on, today),
        cost=cost_view(tank, found, club),
        acclimate=bool(jumped),
        jumped=words.jump_words(jumped),
    )


def way_words(typed: Typed) -> str:
    """Which step of the way up the numbers are those of."""
    if typed.way is None:
        return ""
    step = typed.due or typed.way.set_now
    coming = typed.way.coming
    if step is None:
        return f"Step 1 of {typed.way.of} of the way up is due on {filters.day(coming.due_on)}."
    words = f"These are the numbers of step {step.number} of {typed.way.of} of the way up"
    if typed.due is not None:
        return f"{words}, due since {filters.day(step.due_on)}: set them, then say so there."
    if typed.way.state == "held":
        return f"{words}. The way holds, so no step comes until you carry on."
    return f"{words}; the next one comes on {filters.day(coming.due_on)}, once nothing is pale."


def _plan_words(plan: Schedule) -> str:
    why = f": {plan.reason}" if plan.reason else ""
    return f"Drawn up on {filters.day(plan.since)}{why}"


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


def lit_known(told: Told) -> Lit | None:
    """The tank lit through its day, each animal's brightest light being the account's number."""
    rows = told.rows
    control = rows.schedule.control if rows.schedule else ""
    found = lit(rows.tank, rows.hung, rows.days, control=control, animals=rows.animals)
    if found is None:
        return None
    pairs = zip(told.glance.animals, found.light.peak, strict=True)
    return found.put_right([
        one.ppfd / peak if one.ppfd is not None and peak > 0 else 1.0 for one, peak in pairs
    ])  # fmt: skip


def sure_words(told: Told) -> str:
    """How sure the light is, in the account's words; nothing is lost in summing it."""
    return f"{sentences.certainty(told.glance)} The sum over the day is exact.".lstrip()


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


# Each lamp's part


def _parts(found: Lit, clock: str) -> PartsView | None:
    """Dose and brightest light of each animal, lamp by lamp; None where one lamp, or several on
    one day, give it all."""
    if len(found.lamps) < 2 or not found.animals:
        return None
    names = tuple(lamp.name for lamp in found.lamps)
    most = int(found.light.dli.argmax())
    one = found.course_of(most)
    charts = day_charts(
        one,
        title=f"The day of {found.animals[most].name}",
        others=tuple(
            (name, found.course_of(most, lamp=number)) for number, name in enumerate(names[:3])
        ),
        y_name="PPFD, µmol m⁻² s⁻¹",
        clock=clock,
    )
    return PartsView(
        lamps=names,
        animals=tuple(_part(found, place) for place in range(len(found.animals))),
        drawn=found.animals[most].name,
        charts=charts,
    )


def _part(found: Lit, place: int) -> PartView:
    total = found.course_of(place)
    dose = dli(total)
    by_lamp = [found.course_of(place, lamp=number) for number in range(len(found.lamps))]
    return PartView(
        name=found.animals[place].name,
        dose=filters.significant(dose),
        brightest=filters.ppfd(total.peak_ppfd),
        parts=tuple(
            (filters.significant(dli(one)), filters.percent(dli(one) / dose if dose else 0.0))
            for one in by_lamp
        ),
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


def cost_view(tank: Tank, found: Lit, club: ClubRow) -> CostView:
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
