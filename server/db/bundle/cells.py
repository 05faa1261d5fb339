"""One value of a row as text, and back again, exactly."""

import json
import math
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    DateTime,
    Float,
    Integer,
    LargeBinary,
    Time,
)
from sqlmodel import UTCDateTime

from server.surveys.table_write import harmless

MOST_TEXT = 200_000


class Unreadable(ValueError):
    """A cell holds something its column cannot take; the words say what would be right."""


def datatype(column: Column[object]) -> str:
    """The column's type in the words of CSV on the Web."""
    kind = column.type
    if isinstance(kind, Boolean):
        return "boolean"
    if isinstance(kind, Integer):
        return "integer"
    if isinstance(kind, Float):
        return "double"
    if isinstance(kind, UTCDateTime | DateTime):
        return "dateTime"
    if isinstance(kind, Date):
        return "date"
    if isinstance(kind, Time):
        return "time"
    return "anyURI" if isinstance(kind, LargeBinary) else "string"


def write(column: Column[object], value: object) -> str:
    """Text of one value; nothing is an empty cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date | time):
        return value.isoformat()
    return harmless(value) if isinstance(value, str) else str(value)


def renumbered(text: str, key: str, numbers: Mapping[object, int]) -> str:
    """A JSON list with its entries' `key` put through `numbers`; unknown ones become nothing."""
    told = json.loads(text)
    if not isinstance(told, list) or not all(isinstance(entry, dict) for entry in told):
        raise Unreadable("must be a JSON list of objects")
    changed = [entry | {key: numbers.get(entry[key])} if key in entry else entry for entry in told]
    return json.dumps(changed, ensure_ascii=False)


def read(column: Column[object], text: str) -> object:
    """The value behind a cell. Raises Unreadable."""
    return reader(column)(text)


def reader(column: Column[object]) -> Callable[[str], object]:
    """`read` for many cells of one column."""
    kind = datatype(column)
    parse, words, nullable = _READERS[kind], _WORDS[kind], column.nullable
    small = kind == "integer" and not isinstance(column.type, BigInteger)
    most = most_letters(column)

    def value_of(text: str) -> object:
        if text == "" and (nullable or kind != "string"):
            if not nullable:
                raise Unreadable("must not be empty")
            return None
        try:
            value = parse(text)
            if small:
                _fits(value)
        except ValueError as error:
            raise Unreadable(f"must be {words}, not “{text[:40]}”") from error
        if isinstance(value, str) and len(value) > most:
            raise Unreadable(f"must be at most {most} letters")
        return value

    return value_of


def most_letters(column: Column[object]) -> int:
    """How much text a column takes; SQLite itself would take any."""
    length = getattr(column.type, "length", None)
    return length if isinstance(length, int) else MOST_TEXT


def _double(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _integer(text: str) -> int:
    value = int(text)
    if abs(value) > 2**53:  # what every reader of CSV can hold
        raise ValueError(text)
    return value


def _fits(value: object) -> None:
    if not isinstance(value, int) or abs(value) > 2**31 - 1:
        raise ValueError(value)


def _boolean(text: str) -> bool:
    if text not in ("true", "false"):
        raise ValueError(text)
    return text == "true"


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(text)
    return moment


def _text(text: str) -> str:
    if len(text) > MOST_TEXT or "\x00" in text:
        raise ValueError(text)
    return text.removeprefix("'")


_READERS: dict[str, Callable[[str], object]] = {
    "boolean": _boolean,
    "integer": _integer,
    "double": _double,
    "dateTime": _moment,
    "date": date.fromisoformat,
    "time": time.fromisoformat,
    "string": _text,
    "anyURI": _text,
}
_WORDS = {
    "boolean": "true or false",
    "integer": "a whole number",
    "double": "a finite number",
    "dateTime": "a moment with its offset, such as 2026-11-25T09:00:00Z",
    "date": "a date, such as 2026-11-25",
    "time": "a time, such as 16:30:00",
    "string": "text",
    "anyURI": "the name of a file in the bundle",
}
