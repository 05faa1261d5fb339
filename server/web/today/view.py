"""What the first page shows a member, and a visitor."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.account import sentences
from server.db.accounts import Told
from server.models import Loan, Member, Meter
from server.web import filters
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
class MeterNow:
    """A meter, who has it today, and their name."""

    meter: Meter
    loan: Loan | None
    holder: str


def today_page(
    todos: Sequence[Todo],
    tanks: Sequence[Told],
    meters: Sequence[MeterNow],
    who: Member,
    today: date,
) -> TodayView:
    return TodayView(
        answer=_answer(todos, tanks),
        todos=tuple(todos),
        tanks=tuple(_glance(told) for told in tanks),
        meters=tuple(_meter(now, who, today) for now in meters),
    )


def _answer(todos: Sequence[Todo], tanks: Sequence[Told]) -> str:
    if not tanks and not todos:
        return "Start with your tank: five numbers and words, and its light can be planned."
    if not todos:
        return "Nothing to do today. Leave the light alone."
    return f"{filters.count(len(todos), 'thing')} to do."


def _glance(told: Told) -> TankGlance:
    since = told.glance.light_since
    stood = sentences.stood_words(since, told.glance.as_of) if since else ""
    return TankGlance(
        id=told.rows.tank.id,
        name=told.rows.tank.name,
        answer=_tank_answer(told),
        stood=f"Light {stood}." if stood else "",
    )


def _tank_answer(told: Told) -> str:
    if told.light is None:
        return "No light over it yet."
    words = (sentences.headline(told.glance.animals), sentences.certainty(told.glance))
    return " ".join(words)


def _meter(now: MeterNow, who: Member, today: date) -> MeterGlance:
    return MeterGlance(id=now.meter.id, name=now.meter.name, told=_where(now, who, today))


def _where(now: MeterNow, who: Member, today: date) -> str:
    if now.meter.state in ("resting", "lost"):
        return {"resting": "rests and is lent to nobody", "lost": "is lost"}[now.meter.state]
    if now.loan is None:
        return "is free today"
    holder = "you" if now.loan.member_id == who.id else now.holder
    last = filters.day(now.loan.last_day)
    if now.loan.last_day < today:
        return f"is still with {holder}; it was due back on {last}"
    return f"is with {holder} until {last}"
