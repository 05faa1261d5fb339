"""Kinds of fields: a line, a number, a length, a choice, a day. Each says how it is read."""

from collections.abc import Iterable
from datetime import date
from typing import Any, TypeVar

from server.web import filters, times
from server.web.forms import OWN_UNIT, Field, Filled, Wrong, in_unit, shown_length

T = TypeVar("T")


def line(name: str, label: str, *, most: int, missing: str = "", **told: Any) -> Field[str]:
    """A line of text; `missing` are the words when it is needed and empty."""

    def read(typed: str, _: Filled) -> str:
        if not typed and missing:
            raise Wrong(missing)
        if len(typed) > most:
            raise Wrong(f"Keep this to {most} letters; it has {len(typed)}.")
        return typed

    told.setdefault("needed", bool(missing))
    return Field(name=name, label=label, read=read, otherwise="", most=most + 1000, **told)


def lines(name: str, label: str, *, most: int, missing: str = "", **told: Any) -> Field[str]:
    """Several lines of text."""
    return line(name, label, most=most, missing=missing, **({"kind": "textarea"} | told))


def number(
    name: str,
    label: str,
    limits: tuple[float, float],
    *,
    like: str,
    unit: str = "",
    **told: Any,
) -> Field[float]:
    """A number within limits, both included; decimal comma or point."""

    def read(typed: str, _: Filled) -> float:
        return _number(typed, limits, like, unit)

    return Field(
        name=name, label=label, read=read, otherwise=limits[0], kind="number", unit=unit, **told
    )


def whole(
    name: str, label: str, limits: tuple[float, float], *, like: str = "", **told: Any
) -> Field[int]:
    """A whole number within limits."""
    low, high = limits

    def read(typed: str, _: Filled) -> int:
        value = _number(typed, limits, like or shown(low), told.get("unit", ""))
        if value != int(value):
            raise Wrong(f"Type a whole number from {shown(low)} to {shown(high)}.")
        return int(value)

    return Field(name=name, label=label, read=read, otherwise=int(low), kind="number", **told)


def length(
    name: str, label: str, limits_cm: tuple[float, float], *, like_cm: float, **told: Any
) -> Field[float]:
    """A length, typed in the reader's unit and read in cm."""

    def read(typed: str, form: Filled) -> float:
        limits = (in_unit(limits_cm[0], form.unit), in_unit(limits_cm[1], form.unit))
        value = _number(typed, limits, shown_length(like_cm, form.unit), form.unit)
        return filters.to_cm(value, form.unit)

    return Field(
        name=name, label=label, read=read, otherwise=limits_cm[0], kind="number", unit=OWN_UNIT,
        **told,
    )  # fmt: skip


def choice(
    name: str,
    label: str,
    options: Iterable[tuple[str, ...]],
    *,
    wrong: str = "Choose one of the answers in the list.",
    **told: Any,
) -> Field[str]:
    """One of several; empty means the one it starts from, where it starts from one."""
    known = tuple(options)
    keys = [one[0] for one in known]
    start: str = told.pop("start", keys[0] if keys else "")

    def read(typed: str, _: Filled) -> str:
        if typed in keys:
            return typed
        if not typed and start in keys:
            return start
        raise Wrong(wrong)

    told.setdefault("kind", "select")
    told.setdefault("needed", False)
    return Field(
        name=name, label=label, read=read, otherwise=keys[0] if keys else "", options=known,
        start=start, **told,
    )  # fmt: skip


def tick(name: str, label: str, **told: Any) -> Field[bool]:
    """A box to tick."""
    return Field(
        name=name, label=label, read=lambda typed, _: typed == "yes", otherwise=False,
        kind="checkbox", needed=False, **told,
    )  # fmt: skip


def day(
    name: str,
    label: str,
    *,
    earliest: date = times.EARLIEST,
    latest: date = times.LATEST,
    like: date | None = None,
    **told: Any,
) -> Field[date]:
    """A day: 2026-12-01, 1.12.2026 or 1/12/2026."""

    def read(typed: str, _: Filled) -> date:
        found = times.read_day(typed)
        if found is None:
            raise Wrong(f"Enter a day, like {like or '2026-12-01'}.")
        if not earliest <= found <= latest:
            raise Wrong(f"Choose a day from {earliest} to {latest}.")
        return found

    told.setdefault("kind", "day")
    return Field(name=name, label=label, read=read, otherwise=earliest, most=40, **told)


def clock(name: str, label: str, *, like: str, **told: Any) -> Field[float]:
    """A time of day, as the hour: 8:00, 20.30, 8 pm."""

    def read(typed: str, _: Filled) -> float:
        try:
            return times.read_time(typed)
        except times.NotATime as wrong:
            raise Wrong(f"Type a time of day such as {like}.") from wrong

    return Field(name=name, label=label, read=read, otherwise=0.0, most=20, **told)


def password(name: str, label: str, **told: Any) -> Field[str]:
    """A password: never shown again, never cut or stripped by the reader."""
    return Field(
        name=name, label=label, read=lambda typed, _: typed, otherwise="", kind="password", **told
    )


def file(name: str, label: str, **told: Any) -> Field[str]:
    """A file to send; its bytes come from `Asked.file`."""
    return Field(
        name=name, label=label, read=lambda typed, _: typed, otherwise="", kind="file",
        needed=told.pop("needed", False), **told,
    )  # fmt: skip


def maybe(asked: Field[T]) -> Field[T | None]:
    """The same field, which may stay empty: then its value is None."""

    def read(typed: str, form: Filled) -> T | None:
        return asked.read(typed, form) if typed else None

    return Field(**{**vars(asked), "read": read, "otherwise": None, "needed": False})


# Reading text


def shown(value: float) -> str:
    """A limit as people write it: 0.1, 2000, 787.4."""
    return filters.number(value, 1).removesuffix(".0")


def sentence(words: object) -> str:
    """Words of the domain as a sentence beside a field."""
    told = str(words)
    return f"{told[:1].upper()}{told[1:]}" + ("" if told.endswith((".", "?")) else ".")


def _number(typed: str, limits: tuple[float, float], like: str, unit: str) -> float:
    low, high = limits
    range_words = f"from {shown(low)} to {shown(high)}" + (f" {unit}" if unit else "")
    try:
        value = filters.read_number(typed)
    except filters.NotANumber as wrong:
        raise Wrong(f"Type one number {range_words}, such as {like}.") from wrong
    if not low <= value <= high:
        raise Wrong(f"This must lie {range_words}; {typed} does not.")
    return value
