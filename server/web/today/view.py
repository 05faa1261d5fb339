"""What the first page shows a member."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from server.account import sentences
from server.db.accounts import Told
from server.models import Loan, Meter, Tank
from server.web import filters
from server.web.today.gather import Todo


class TankNow(NamedTuple):
    """A tank, its answer, and how long its light has stood."""

    tank: Tank
    answer: str
    stood: str


class MeterNow(NamedTuple):
    """A meter and where it is today."""

    meter: Meter
    told: str


@dataclass(frozen=True, kw_only=True)
class TodayView:
    answer: str
    todos: Sequence[Todo]
    tanks: Sequence[TankNow]
    meters: Sequence[MeterNow]


def today_page(
    todos: Sequence[Todo], tanks: Sequence[Told], meters: Sequence[MeterNow]
) -> TodayView:
    return TodayView(
        answer=_answer(todos, tanks),
        todos=todos,
        tanks=[TankNow(told.rows.tank, _tank_answer(told), _stood(told)) for told in tanks],
        meters=meters,
    )


def where(meter: Meter, loan: Loan | None, holder: str, today: date) -> str:
    """Where a meter is today; holder: "you", or the name of who has it."""
    if meter.state in ("resting", "lost"):
        return {"resting": "rests and is lent to nobody", "lost": "is lost"}[meter.state]
    if loan is None:
        return "is free today"
    last = filters.day(loan.last_day)
    if loan.last_day < today:
        return f"is still with {holder}; it was due back on {last}"
    return f"is with {holder} until {last}"


def _answer(todos: Sequence[Todo], tanks: Sequence[Told]) -> str:
    if not tanks and not todos:
        return "Start with your tank: five numbers and words, and its light can be planned."
    if not todos:
        return "Nothing to do today. Leave the light alone."
    return f"{filters.count(len(todos), 'thing')} to do."


def _tank_answer(told: Told) -> str:
    if told.light is None:
        return "No light over it yet."
    return f"{sentences.headline(told.glance.animals)} {sentences.certainty(told.glance)}"


def _stood(told: Told) -> str:
    since = told.glance.light_since
    return f"Light {sentences.stood_words(since, told.glance.as_of)}." if since else ""
