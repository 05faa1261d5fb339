"""What the pages of history and chores show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from server.db.chores import TankDue
from server.db.days import GroupDay
from server.db.history import Entry
from server.db.moments import Moment
from server.dose.chores import BY_KEY, Due
from server.dose.day import Day
from server.dose.jumps import BASIS, Jump
from server.dose.unchanged import in_words
from server.dose.warnings import against_history
from server.models import Member, Tank
from server.web import filters
from server.web.day_chart import DayCharts
from server.web.lamp_lines import percent_charts
from server.web.lit import Lit, lit_moment
from server.web.staying import StayView, stay_view

ALWAYS_ON = Day(hours=(0.0,), levels=(100.0,))


# Chores


@dataclass(frozen=True, kw_only=True)
class ChoreLine:
    """One chore and when it comes round."""

    key: str
    name: str
    why: str
    basis: str
    when: str
    late: bool
    last: str
    tank: str = ""
    tank_id: int = 0
    keeper: str = ""


@dataclass(frozen=True, kw_only=True)
class ChoresView:
    """The chores of one tank."""

    id: int
    name: str
    own: bool
    answer: str
    lines: tuple[ChoreLine, ...]
    jumps: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class DueView:
    """Chores due for a member, or for the club."""

    answer: str
    club: bool
    lines: tuple[ChoreLine, ...]


def chores_page(
    who: Member,
    tank: Tank,
    dues: Sequence[Due],
    jumps: Sequence[Jump],
) -> ChoresView:
    lines = tuple(_line(due) for due in dues)
    return ChoresView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        answer=_answer(lines, tank.name),
        lines=lines,
        jumps=tuple((one.key, _jump_words(one)) for one in jumps),
    )


def every_values(stored: Mapping[str, int]) -> dict[str, str]:
    """How often each chore comes round [d], as its form starts."""
    return {f"every-{key}": str(stored.get(key, one.days)) for key, one in BY_KEY.items()}


def _jump_words(jump: Jump) -> str:
    """What a chore done today does to the light, and how sure that is."""
    more = filters.percent(1 / (jump.share or 1.0) - 1)
    return f"{jump.what}: about {more} more light at once ({BASIS})."


def due_page(found: Sequence[TankDue], *, club: bool) -> DueView:
    lines = tuple(_line(one.due, one) for one in found)
    late = sum(line.late for line in lines)
    if not lines:
        answer = "Nothing is due in the next four weeks."
    elif late:
        answer = f"{filters.count(late, 'chore')} {'is' if late == 1 else 'are'} due."
    else:
        answer = "Nothing is late."
    return DueView(answer=answer, club=club, lines=lines)


def _answer(lines: Sequence[ChoreLine], name: str) -> str:
    late = [line.name.lower() for line in lines if line.late]
    if not lines:
        return f"No lamp hangs over {name}, so nothing drifts yet."
    if not late:
        return f"Nothing is due at {name}."
    return f"Due at {name}: {', '.join(late[:3])}{' and more' if len(late) > 3 else ''}."


def _line(due: Due, one: TankDue | None = None) -> ChoreLine:
    late = due.days_late >= 0
    if due.days_late == 0:
        when = "due today"
    elif late:
        when = f"due since {in_words(due.days_late)}"
    else:
        when = f"in {in_words(-due.days_late)}, on {filters.day(due.due_on)}"
    return ChoreLine(
        key=due.chore.key,
        name=due.chore.name,
        why=due.chore.why,
        basis=f"every {in_words(due.days)}; {due.chore.basis}",
        when=when,
        late=late,
        last=f"last on {filters.day(due.last_on)}" if due.last_on else "not written down yet",
        tank=one.tank.name if one else "",
        tank_id=one.tank.id if one else 0,
        keeper=one.keeper if one else "",
    )


# History


@dataclass(frozen=True, kw_only=True)
class HistoryView:
    """The timeline of a tank."""

    id: int
    name: str
    own: bool
    answer: str
    stay: StayView | None
    entries: tuple[Entry, ...]
    dates: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class MomentView:
    """One of two moments that are compared."""

    on: str
    lamps: tuple[str, ...]
    charts: DayCharts | None
    day_words: str
    animals: int


@dataclass(frozen=True, kw_only=True)
class ChangeLine:
    """What one animal got at both moments."""

    name: str
    first_ppfd: float
    second_ppfd: float
    first_dli: float
    second_dli: float
    change: str


@dataclass(frozen=True, kw_only=True)
class CompareView:
    """Two moments of one tank side by side."""

    id: int
    name: str
    answer: str
    first: MomentView
    second: MomentView
    changes: tuple[ChangeLine, ...]
    day: bool
    between: tuple[Entry, ...]


def history_page(
    who: Member,
    tank: Tank,
    entries: Sequence[Entry],
    now: Moment,
    today: date,
) -> HistoryView:
    stay = stay_view(now.changed_on, today)
    dates = list(dict.fromkeys([today, *(entry.on for entry in entries)]))
    return HistoryView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        answer=stay.words if stay else f"No light over {tank.name} yet.",
        stay=stay,
        entries=tuple(entries),
        dates=tuple((day.isoformat(), filters.day(day)) for day in dates),
    )


def compare_page(
    who: Member, tank: Tank, first: Moment, second: Moment, entries: Sequence[Entry]
) -> CompareView:
    """The earlier moment left, the later one right, and what happened between them."""
    both = bool(first.days and second.days)
    lit = (_lit(tank, first, day=both), _lit(tank, second, day=both))
    changes = _changes(*lit, day=both)
    return CompareView(
        id=tank.id,
        name=tank.name,
        answer=_compared(first, second, changes),
        first=_moment(who, first),
        second=_moment(who, second),
        changes=changes,
        day=both,
        between=tuple(one for one in entries if first.on < one.on <= second.on),
    )


def _lit(tank: Tank, at: Moment, *, day: bool) -> Lit | None:
    """The tank lit through its day; fully on where the day is not known at both moments."""
    return lit_moment(tank, at if day else replace(at, days=(GroupDay(day=ALWAYS_ON),)))


def _compared(first: Moment, second: Moment, changes: Sequence[ChangeLine]) -> str:
    days = in_words((second.on - first.on).days)
    if not changes:
        return f"{days} apart; the doses cannot be compared at both moments."
    same = all(line.change == "the same" for line in changes)
    if same:
        return f"{days} apart, and every animal gets the same light."
    return f"{days} apart: {changes[0].name} {changes[0].change}."


def _moment(who: Member, at: Moment) -> MomentView:
    drawn = at.hung and at.days
    return MomentView(
        on=filters.day(at.on),
        lamps=tuple(
            f"{one.stated.row.name}, {filters.length(one.row.height_cm, who.length_unit)} over "
            f"the water at {filters.percent(one.row.power)}"
            for one in at.hung
        ),
        charts=percent_charts(at.hung, at.days, at.control, who.clock) if drawn else None,
        day_words="" if at.days else "No day was set.",
        animals=len(at.animals),
    )


def _changes(first: Lit | None, second: Lit | None, *, day: bool) -> tuple[ChangeLine, ...]:
    """Animals that lived there at both moments, the largest change first."""
    if first is None or second is None:
        return ()
    places = {animal.id: place for place, animal in enumerate(first.animals)}
    lines = []
    for place, animal in enumerate(second.animals):
        if animal.id in places:
            lines.append(_change(first, places[animal.id], second, place, day=day))
    lines.sort(key=lambda line: -line[0])
    return tuple(line for _, line in lines)


def _change(first: Lit, was: int, second: Lit, now: int, *, day: bool) -> tuple[float, ChangeLine]:
    before, after = float(first.light.dli[was]), float(second.light.dli[now])
    peaks = float(first.light.peak[was]), float(second.light.peak[now])
    more = against_history(
        dli_mol_m2_d=after,
        peak_ppfd=peaks[1],
        used_dli_mol_m2_d=before,
        used_peak_ppfd=peaks[0],
    )
    ratio = more.dose_ratio if more else 1.0
    line = ChangeLine(
        name=second.animals[now].name,
        first_ppfd=peaks[0],
        second_ppfd=peaks[1],
        first_dli=before,
        second_dli=after,
        change=_change_words(ratio, "a day" if day else "at full light"),
    )
    return abs(ratio - 1), line


def _change_words(ratio: float, when: str) -> str:
    if abs(ratio - 1) < 0.01:
        return "the same"
    word = "more" if ratio > 1 else "less"
    return f"gets {filters.percent(abs(ratio - 1))} {word} {when}"
