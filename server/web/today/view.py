"""What the first page shows a member, and a visitor."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.db import light
from server.db.light import Hung
from server.models import Animal, Loan, Member, Meter, Setup, Tank
from server.web import filters
from server.web.tanks.judged import judge
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
    setup: Setup | None
    hung: Sequence[Hung]
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
        id=rows.tank.id or 0,
        name=rows.tank.name,
        answer=_tank_answer(rows),
        stood=f"Light {stood_words(rows.setup.since, today)}." if rows.setup else "",
    )


def _tank_answer(rows: TankRows) -> str:
    if rows.setup is None:
        return "No lamp yet."
    if not rows.animals:
        return "No animals yet."
    judged = judge(rows.animals, light.scene(rows.tank, rows.hung))
    off = [one for one in judged if one.verdict != "within"]
    if not off:
        return f"All {filters.count(len(judged), 'animal')} in range, as planned."
    named = ", ".join(f"{one.animal.name} {one.words}" for one in off[:3])
    more = f" and {len(off) - 3} more" if len(off) > 3 else ""
    return f"{named}{more}, as planned."


def _meter(meter: Meter, loan: Loan | None, name: str, who: Member) -> MeterGlance:
    if meter.state in ("resting", "lost"):
        told = {"resting": "rests and is lent to nobody", "lost": "is lost"}[meter.state]
    elif loan is None:
        told = "is free today"
    else:
        holder = "you" if loan.member_id == who.id else name
        told = f"is with {holder} until {filters.day(loan.last_day)}"
    return MeterGlance(id=meter.id or 0, name=meter.name, told=told)
