"""Time-stamped logs of a fixed sensor: the clock of each line and its light.

Clock times are kept as the wall clock showed them; an offset written behind ("+01:00", "Z") is
dropped, since the day curve belongs to the tank's own day.
"""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Literal

from server.surveys.table_cells import Cells
from server.surveys.table_lines import Record, Refusal
from server.surveys.table_numbers import NotANumber, shown
from server.surveys.table_points import light_columns, refusal
from server.surveys.table_words import Meaning
from server.surveys.understood import LogRow, ReadAs

DateOrder = Literal["dmy", "mdy"]

FIRST_YEAR, LAST_YEAR = 1990, 2100
"""A log from outside these years is a clock that was never set."""

_DATE = re.compile(r"(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})")
_TIME = re.compile(
    r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*(am|pm|a\.m\.|p\.m\.)?"
    r"\s*(?:z|utc|[+-]\d{2}:?\d{2})?",
    re.IGNORECASE,
)


def read_log(
    records: Sequence[Record],
    columns: Sequence[Meaning],
    cells: Cells,
) -> tuple[list[LogRow], list[Refusal]]:
    """Every record to a stamped light value or to a refusal."""
    clocks = tuple(i for i, meaning in enumerate(columns) if meaning.role == "date")[:1]
    clocks += tuple(i for i, meaning in enumerate(columns) if meaning.role == "time")[:1]
    light = light_columns(columns)[0]
    unit = columns[light].unit
    stamps = [_stamp_text(record.cells, clocks) for record in records]
    order = cells.how.date_order or date_order(stamps)
    reader = _Clock(order, cells.how.taken_on)
    rows: list[LogRow] = []
    refused: list[Refusal] = []
    for record, stamp in zip(records, stamps, strict=True):
        text = record.cells[light] if light < len(record.cells) else ""
        try:
            if not text.strip():
                raise NotANumber("the light value is missing")
            extra = [cell for cell in record.cells[len(columns) :] if cell.strip()]
            if extra:
                raise NotANumber(f"“{shown(extra[0])}” has no heading above it")
            ppfd = cells.ppfd(text, unit)
            rows.append(LogRow(record.row, reader.at(stamp), ppfd, (stamp, text), unit or "µmol"))
        except NotANumber as reason:
            refused.append(refusal(record, str(reason)))
    return rows, refused


def _stamp_text(cells: Sequence[str], clocks: tuple[int, ...]) -> str:
    return " ".join(cells[i].strip() for i in clocks if i < len(cells) and cells[i].strip())


def date_order(stamps: Sequence[str]) -> DateOrder | None:
    """Day first or month first, from the numbers over 12; None when none is over 12."""
    firsts: set[int] = set()
    seconds: set[int] = set()
    for stamp in stamps:
        match = _DATE.match(stamp)
        if match and len(match[1]) <= 2:
            firsts.add(int(match[1]))
            seconds.add(int(match[2]))
            if "." in match[0]:  # dots stand between day and month, in this order
                return "dmy"
    if any(n > 12 for n in firsts):
        return "dmy"
    if any(n > 12 for n in seconds):
        return "mdy"
    # A log moves on: the place that changes from day to day is the day.
    if len(firsts) > 1 and len(seconds) == 1:
        return "dmy"
    return "mdy" if len(seconds) > 1 and len(firsts) == 1 else None


class _Clock:
    """Turns stamps into times; stamps without a date count on from `taken_on`."""

    def __init__(self, order: DateOrder | None, taken_on: date | None) -> None:
        self.order = order
        self.day = taken_on
        self.before: datetime | None = None

    def at(self, stamp: str) -> datetime:
        try:
            found = self._iso(stamp) or self._read(stamp)
            if not FIRST_YEAR <= found.year <= LAST_YEAR:
                raise NotANumber(f"{found.year} lies outside {FIRST_YEAR} to {LAST_YEAR}")
            return found
        except NotANumber:
            raise
        except (ValueError, OverflowError):
            raise NotANumber(f"“{shown(stamp)}” is not a date and time") from None

    def _iso(self, stamp: str) -> datetime | None:
        if len(stamp) < 16 or stamp[4] != "-":
            return None
        try:
            return datetime.fromisoformat(stamp).replace(tzinfo=None)
        except ValueError:
            return None

    def _read(self, stamp: str) -> datetime:
        if not stamp:
            raise NotANumber("the time is missing")
        found = _DATE.match(stamp)
        rest = stamp[found.end() :].strip(" ,T") if found else stamp
        clock = _TIME.fullmatch(rest)
        if not clock:
            raise NotANumber(f"“{shown(stamp)}” is not a date and time")
        hours, minutes, seconds = _hours(clock)
        day = self._date(found) if found else self._next_day(hours, minutes, seconds)
        at = datetime(day.year, day.month, day.day, hours, minutes, seconds)
        self.before = at
        return at

    def _date(self, found: re.Match[str]) -> date:
        first, second, third = (int(found[i]) for i in (1, 2, 3))
        if len(found[1]) == 4:
            return date(first, second, third)
        if self.order is None and first != second:
            raise NotANumber(
                f"“{found[0]}” can be day first or month first; say which the file uses"
            )
        year = third + 2000 if third < 100 else third
        return date(year, first, second) if self.order == "mdy" else date(year, second, first)

    def _next_day(self, hours: int, minutes: int, seconds: int) -> date:
        """Times alone run through midnight into the next day."""
        if self.before is None:
            if self.day is None:
                raise NotANumber("has a time but no date; give the day of the first line")
            return self.day
        now = timedelta(hours=hours, minutes=minutes, seconds=seconds)
        then = timedelta(
            hours=self.before.hour, minutes=self.before.minute, seconds=self.before.second
        )
        return self.before.date() + timedelta(days=1 if now < then else 0)


def _hours(clock: re.Match[str]) -> tuple[int, int, int]:
    hours = int(clock[1])
    half = (clock[4] or "").lower()
    if half:
        if not 1 <= hours <= 12:
            raise NotANumber(f"“{clock[0]}” is not a time")
        hours = hours % 12 + (12 if half.startswith("p") else 0)
    return hours, int(clock[2]), int(clock[3] or 0)


def dates_unused(
    records: Sequence[Record], columns: Sequence[Meaning], headings: Sequence[str], how: ReadAs
) -> tuple[str, ...]:
    """Readings at places belong to one session of one day: what is said of a column of dates."""
    dated = [i for i, column in enumerate(columns) if column.role in ("date", "time")]
    return tuple(
        _unused(headings[i] if i < len(headings) else f"{i + 1}", values, how.taken_on)
        for i in dated
        if (values := _values(records, i)) and values != [str(how.taken_on)]
    )


def _values(records: Sequence[Record], index: int) -> list[str]:
    cells = (one.cells[index].strip() for one in records if index < len(one.cells))
    return list(dict.fromkeys(cell for cell in cells if cell))


def _unused(heading: str, values: Sequence[str], taken_on: date | None) -> str:
    span = shown(values[0])
    if len(values) > 1:
        span = f"{len(values)} different values, {span} to {shown(values[-1])}"
    day = f" of {taken_on.isoformat()}" if taken_on else ""
    return (
        f"The column “{shown(heading)}” ({span}) is not kept: every row is stored as a reading"
        f"{day}, the day of this session. Send each day's rows by themselves to keep their days."
    )
