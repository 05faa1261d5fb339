"""What the first page shows a member, and a visitor."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.db.measured import MeasuredRows
from server.models import Animal, Loan, Member, Meter, Tank
from server.web import filters
from server.web.tanks.known_light import known_light
from server.web.tanks.view import stood_words
from server.web.today.gather import Todo


@dataclass(frozen=True, kw_only=True)
class TankGlance:
    id: int
    name: str
    answer: str
    stood: str


@dataclass(frozen=True, kw_only=True)
class MeterGlance:
    id: int
    name: str
    told: str


@dataclass(frozen=True, kw_only=True)
class TodayView:
    answer: str
    todos: tuple[Todo, ...]
    tanks: tuple[TankGlance, ...]
    meters: tuple[MeterGlance, ...]


@dataclass(frozen=True, kw_only=True)
class WelcomeView:
    set_up: bool


@dataclass(frozen=True, kw_only=True)
class TankRows:
    """One own tank with what hangs over it and who lives in it."""

    tank: Tank
    lit: MeasuredRows | None
    animals: Sequence[Animal]


def today_page(
    todos: Sequence[Todo],
    tanks: Sequence[TankRows],
    meters: Sequence[tuple[Meter, Loan | None, str]],
    who: Member,
    today: date,
) -> TodayView:
    return TodayView(
        answer=_answer(todos, tanks),
        todos=tuple(todos),
        tanks=tuple(_glance(rows, today) for rows in tanks),
        meters=tuple(_meter(meter, loan, name, who) for meter, loan, name in meters),
    )


def _answer(todos: Sequence[Todo], tanks: Sequence[TankRows]) -> str:
    if not tanks and not todos:
        return "Start with your tank: five numbers and words, and its light can be planned."
    if not todos:
        return "Nothing to do today. Leave the light alone."
    return f"{filters.count(len(todos), 'thing')} to do."


def _glance(rows: TankRows, today: date) -> TankGlance:
    return TankGlance(
        id=rows.tank.id,
        name=rows.tank.name,
        answer=_tank_answer(rows),
        stood=f"Light {stood_words(rows.lit.setup.since, today)}." if rows.lit else "",
    )


def _tank_answer(rows: TankRows) -> str:
    if rows.lit is None:
        return "No lamp yet."
    if not rows.animals:
        return "No animals yet."
    known = known_light(rows.lit, rows.animals)
    off = [one for one in known.judged if one.verdict != "within"]
    if not off:
        number = len(known.judged)
        everyone = "The one animal" if number == 1 else f"All {number} animals"
        return f"{everyone} in range, {known.kind}."
    named = ", ".join(f"{one.animal.name} {one.words}" for one in off[:3])
    more = f" and {len(off) - 3} more" if len(off) > 3 else ""
    return f"{named}{more}, {known.kind}."


def _meter(meter: Meter, loan: Loan | None, name: str, who: Member) -> MeterGlance:
    if meter.state in ("resting", "lost"):
        told = {"resting": "rests and is lent to nobody", "lost": "is lost"}[meter.state]
    elif loan is None:
        told = "is free today"
    else:
        holder = "you" if loan.member_id == who.id else name
        told = f"is with {holder} until {filters.day(loan.last_day)}"
    return MeterGlance(id=meter.id, name=meter.name, told=told)
