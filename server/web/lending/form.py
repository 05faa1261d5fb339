"""What members and stewards type about meters and days."""

from dataclasses import dataclass, fields
from datetime import date

from starlette.datastructures import FormData

from server.lending.book import Purpose
from server.lending.calendar import Stretch
from server.lending.rules import LIMITS, No, Rules
from server.web.filters import NotANumber, read_number
from server.web.signed_in import text
from server.web.tanks.typed import Refused

_YEARS = (2000, 2199)
_DAY_WANTED = "Enter a day, like 2026-12-01."
FACTOR_LIMITS = (0.2, 5.0)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A wish for days, as it goes into the queue."""

    earliest: date
    latest: date | None
    days: int
    purpose: Purpose


@dataclass(frozen=True, kw_only=True)
class Moved:
    to: Stretch
    reason: str


@dataclass(frozen=True, kw_only=True)
class RestTyped:
    first: date
    last: date | None
    reason: str
    give_back: bool


@dataclass(frozen=True, kw_only=True)
class CalibrationTyped:
    done_on: date
    factor: float
    due_on: date | None
    note: str


@dataclass(frozen=True, kw_only=True)
class MeterTyped:
    name: str
    reads: str
    immersion_factor: float
    case_contents: str
    keeper: str


class _Reader:
    """Reads fields one by one and remembers what was typed and what was wrong with it."""

    def __init__(self, form: FormData) -> None:
        self.form = form
        self.values: dict[str, str] = {}
        self.errors: dict[str, str] = {}

    def words(self, name: str, *, most: int, needed: str = "") -> str:
        typed = text(self.form, name, most=most + 1)
        self.values[name] = typed
        if needed and not typed:
            self.errors[name] = needed
        elif len(typed) > most:
            self.errors[name] = f"Keep it to {most} letters."
        return typed

    def day(self, name: str, *, optional: bool = False) -> date | None:
        typed = text(self.form, name, most=40)
        self.values[name] = typed
        if optional and not typed:
            return None
        found = read_day(typed)
        if found is None:
            self.errors[name] = _DAY_WANTED
        return found

    def whole(self, name: str, least: int, most: int) -> int | None:
        typed = text(self.form, name, most=40)
        self.values[name] = typed
        try:
            found = read_number(typed)
        except NotANumber:
            found = -1.5
        if found != int(found) or not least <= found <= most:
            self.errors[name] = f"Enter a whole number from {least} to {most}."
            return None
        return int(found)

    def factor(self, name: str) -> float | None:
        typed = text(self.form, name, most=40)
        self.values[name] = typed
        least, most = FACTOR_LIMITS
        try:
            found = read_number(typed)
        except NotANumber:
            found = 0.0
        if not least <= found <= most:
            self.errors[name] = f"Enter a factor from {least:g} to {most:g}, like 1.08."
            return None
        return found

    def refused(self) -> Refused:
        return Refused(self.values, self.errors)


def read_day(typed: str) -> date | None:
    """A day as a date field sends it, or as people type it: 2026-12-01, 1.12.2026, 1/12/2026."""
    plain = typed.replace("/", ".")
    try:
        if "." in plain:
            day, month, year = (int(part) for part in plain.rstrip(".").split("."))
            found = date(year, month, day)
        else:
            found = date.fromisoformat(plain)
    except ValueError:
        return None
    return found if _YEARS[0] <= found.year <= _YEARS[1] else None


def read_days(form: FormData, first: str = "from", last: str = "to") -> Stretch | Refused:
    """Days in a row; an empty last day means one day only."""
    reader = _Reader(form)
    begins = reader.day(first)
    ends = reader.day(last, optional=True)
    if begins is not None and ends is not None and ends < begins:
        reader.errors[last] = "The last day comes before the first."
    if begins is None or reader.errors:
        return reader.refused()
    return Stretch(begins, ends or begins)


def read_asked(form: FormData) -> Asked | Refused:
    reader = _Reader(form)
    purpose = reader.words("purpose", most=20)
    days = reader.whole("days", 1, LIMITS["longest_loan_days"][1])
    earliest = reader.day("earliest")
    latest = reader.day("latest", optional=True)
    if purpose not in set(Purpose):
        reader.errors["purpose"] = "Choose what you want it for."
    if days is None or earliest is None or reader.errors:
        return reader.refused()
    return Asked(earliest=earliest, latest=latest, days=days, purpose=Purpose(purpose))


def read_move(form: FormData) -> Moved | Refused:
    reader = _Reader(form)
    reason = reader.words("reason", most=300, needed="Say why: the member reads this reason.")
    days = read_days(form)
    if isinstance(days, Refused):
        return Refused(reader.values | days.values, reader.errors | days.errors)
    reader.values |= {"from": days.first.isoformat(), "to": days.last.isoformat()}
    return reader.refused() if reader.errors else Moved(to=days, reason=reason)


def read_rest(form: FormData) -> RestTyped | Refused:
    reader = _Reader(form)
    reason = reader.words(
        "rest_reason", most=150, needed="Say why it rests; those who are waiting read it."
    )
    first = reader.day("rest_first")
    last = reader.day("rest_last", optional=True)
    how = reader.words("rest_how", most=20)
    if first is not None and last is not None and last < first:
        reader.errors["rest_last"] = "The last day comes before the first."
    if first is None or reader.errors:
        return reader.refused()
    return RestTyped(first=first, last=last, reason=reason, give_back=how == "give_back")


def read_calibration(form: FormData, *, today: date) -> CalibrationTyped | Refused:
    reader = _Reader(form)
    done_on = reader.day("done_on")
    factor = reader.factor("factor")
    due_on = reader.day("due_on", optional=True)
    note = reader.words("calibration_note", most=400)
    if done_on is not None and done_on > today:
        reader.errors["done_on"] = "This day is still to come."
    if done_on is not None and due_on is not None and due_on <= done_on:
        reader.errors["due_on"] = "Choose a day after the calibration."
    if done_on is None or factor is None or reader.errors:
        return reader.refused()
    return CalibrationTyped(done_on=done_on, factor=factor, due_on=due_on, note=note)


def read_meter(form: FormData) -> MeterTyped | Refused:
    reader = _Reader(form)
    name = reader.words("name", most=60, needed="Give the meter a name, like Blue meter.")
    reads = reader.words("reads", most=120, needed="Say what it reads, like PPFD 400–700 nm.")
    factor = reader.factor("immersion_factor")
    case = reader.words("case_contents", most=1500)
    keeper = reader.words("keeper", most=200)
    if factor is None or reader.errors:
        return reader.refused()
    return MeterTyped(
        name=name, reads=reads, immersion_factor=factor, case_contents=case, keeper=keeper
    )


def read_rule(form: FormData) -> Rules | Refused:
    reader = _Reader(form)
    numbers = {field.name: reader.whole(field.name, *LIMITS[field.name]) for field in fields(Rules)}
    if reader.errors:
        return reader.refused()
    return Rules(**{name: number for name, number in numbers.items() if number is not None})


def errors_of(no: No, names: dict[str, str] | None = None) -> dict[str, str]:
    """A refusal of the rules, beside the field it concerns or over the whole form."""
    field = (names or {}).get(no.field or "", no.field or "form")
    return {field: no.reason}
