"""Reading a form field by field: text in, numbers in cm out, and words for what will not do.

Everything typed is kept as typed, so that a refused form comes back as it was.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from starlette.datastructures import FormData

from server.web import filters
from server.web.signed_in import text

_EARLIEST = date(1990, 1, 1)


@dataclass(frozen=True)
class Refused:
    """What was typed, and the words beside each field that could not be taken."""

    values: dict[str, str]
    errors: dict[str, str] = field(default_factory=dict)


@dataclass
class TypedIn:
    """A form being read. unit: the member's unit of length, 'cm' or 'in'."""

    form: FormData
    unit: str
    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)

    def words(self, name: str, *, most: int, missing: str = "") -> str:
        """A line of text; `missing` are the words when it is needed and empty."""
        value = self._text(name)
        if not value and missing:
            self.errors[name] = missing
        elif len(value) > most:
            self.errors[name] = f"Keep this to {most} letters; it has {len(value)}."
        return value

    def choice(self, name: str, known: Iterable[str], *, otherwise: str | None = None) -> str:
        """One of several; what is not among them is an error, or `otherwise` when empty."""
        value = self._text(name)
        options = list(known)
        if value in options:
            return value
        if not value and otherwise is not None:
            return otherwise
        self.errors[name] = "Choose one of the answers in the list."
        return options[0]

    def yes(self, name: str) -> bool:
        return self._text(name) == "yes"

    def number(
        self, name: str, *, low: float, high: float, like: str, unit: str = "", needed: bool = True
    ) -> float | None:
        """A number from low to high; None where it may stay empty and does."""
        value = self._text(name)
        if not value and not needed:
            return None
        sign = f" {unit}" if unit else ""
        range_words = f"from {_short(low)} to {_short(high)}{sign}"
        try:
            number = filters.read_number(value)
        except filters.NotANumber:
            self.errors[name] = f"Type one number {range_words}, such as {like}."
            return low
        if not low <= number <= high:
            self.errors[name] = f"This must lie {range_words}; {value} does not."
            return low
        return number

    def length(
        self,
        name: str,
        *,
        low_cm: float,
        high_cm: float,
        like_cm: float,
        needed: bool = True,
        was_cm: float | None = None,
    ) -> float | None:
        """A length in cm, typed in the member's unit.

        was_cm: the stored length. Where the form came back with the very words it was shown
        as, the stored one is kept, so that inches do not creep at every saving.
        """
        value = self._text(name)
        if was_cm is not None and value == shown_length(was_cm, self.unit):
            return was_cm
        typed = self.number(
            name,
            low=_in_unit(low_cm, self.unit),
            high=_in_unit(high_cm, self.unit),
            like=shown_length(like_cm, self.unit),
            unit=self.unit,
            needed=needed,
        )
        return None if typed is None else filters.to_cm(typed, self.unit)

    def day(self, name: str, *, otherwise: date, latest: date) -> date:
        """A date as 2026-11-25; empty means `otherwise`."""
        value = self._text(name)
        if not value:
            return otherwise
        try:
            typed = date.fromisoformat(value)
        except ValueError:
            self.errors[name] = f"Write the day as year-month-day, such as {otherwise}."
            return otherwise
        if not _EARLIEST <= typed <= latest:
            self.errors[name] = f"Choose a day from {_EARLIEST} to {latest}."
            return otherwise
        return typed

    def refused(self) -> Refused:
        return Refused(dict(self.values), dict(self.errors))

    def _text(self, name: str) -> str:
        value = text(self.form, name)
        self.values[name] = value
        return value


def shown_length(value_cm: float, unit: str) -> str:
    """A stored length as a form shows it."""
    value, digits = (value_cm, 1) if unit == "cm" else (value_cm / filters.CM_PER_INCH, 2)
    words = filters.number(value, digits)
    return words.rstrip("0").rstrip(".") if "." in words else words


def stored_length(row: object | None, column: str) -> float | None:
    """A length of a stored row; None for a row that is new."""
    return None if row is None else float(getattr(row, column))


def merged(values: Mapping[str, str], refused: Refused | None) -> dict[str, str]:
    """The values a form starts from, or what was typed when it was refused."""
    return dict(values) | (refused.values if refused else {})


def _in_unit(value_cm: float, unit: str) -> float:
    return value_cm if unit == "cm" else value_cm / filters.CM_PER_INCH


def _short(value: float) -> str:
    """A limit as people write it: 0.1, 2000, 787.4."""
    return filters.number(value, 1).removesuffix(".0")
