"""Forms: one description of each field, and one reader.

A field is described once: name, label, unit, hint, limits, and how its text becomes a value.
    WATTS = number("watts", "Watts at full power", WATTS_LIMITS, like="150", unit="W")
    FORM = Form(WATTS, maybe(number("ppf", ...)))
A `Filled` is a form with what was typed (or what it starts from), and the words beside each
field that will not do. Reading `filled[WATTS]` gives a float, and goes on after an error with a
harmless value, so that every wrong field is named at once; `filled.check()` then raises
`Refused`, which shows the page again as it was typed. In templates: `{{ field(form, "watts") }}`.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Generic, Protocol, TypeVar

from starlette.datastructures import FormData

from server.web import filters, times
from server.web.signed_in import text

T = TypeVar("T")
Options = tuple[tuple[str, ...], ...]
OWN_UNIT = "length"
"""As a field's unit: the reader's own unit of length."""
_EARLIEST, _LATEST = date(1990, 1, 1), date(2199, 12, 31)


class Wrong(ValueError):
    """The text of one field will not do; says what would."""


class Refused(Exception):
    """A form that cannot be taken. Its page is shown again, as it was typed (status 422)."""

    def __init__(self, form: "Filled") -> None:
        super().__init__(dict(form.errors))
        self.form = form


@dataclass(frozen=True, kw_only=True)
class Field(Generic[T]):
    """One field. read: from its text to a value, or Wrong. otherwise: read on with this then."""

    name: str
    label: str
    read: "Callable[[str, Filled], T]"
    otherwise: T
    kind: str = "text"
    needed: bool = True
    unit: str = ""
    hint: str = ""
    where: str = ""
    start: str = ""
    start_in: str = ""
    options: Options = ()
    most: int = 200
    extra: Mapping[str, Any] = field(default_factory=dict)

    def named(self, suffix: str) -> "Field[T]":
        """The same field once more in the same form, such as "light2"."""
        return replace(self, name=f"{self.name}{suffix}")

    def but(self, **changed: Any) -> "Field[T]":
        """The same field with other words or another start."""
        return replace(self, **changed)


@dataclass(frozen=True)
class Shown:
    """A field of a filled form, as the template draws it."""

    field: Field[Any]
    value: str
    error: str
    unit: str

    def __getattr__(self, name: str) -> Any:
        return getattr(self.field, name)


@dataclass
class Filled:
    """A form with its values and errors. lengths: stored lengths [cm] the form was shown with.

    Where a length comes back with the very words it was shown as, the stored one is kept, so
    that inches do not creep at every saving.
    """

    fields: Mapping[str, Field[Any]]
    values: dict[str, str]
    unit: str = "cm"
    lengths: Mapping[str, float] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    again: "Callable[[Filled], Any] | None" = None

    def __getitem__(self, asked: Field[T]) -> T:
        """The value of a field; what will not do is kept in `errors`."""
        try:
            return asked.read(self.text(asked.name), self)
        except Wrong as wrong:
            self.errors.setdefault(asked.name, str(wrong))
            return asked.otherwise

    def text(self, name: str) -> str:
        return self.values.get(name, "")

    def wrong(self, asked: "Field[Any] | str", words: str) -> None:
        """Says what is wrong with a field, or with the whole form ("form"), and goes on."""
        self.errors.setdefault(asked if isinstance(asked, str) else asked.name, words)

    def refuse(self, asked: "Field[Any] | str", words: str) -> Refused:
        """As `wrong`; to be raised at once."""
        self.wrong(asked, words)
        return Refused(self)

    def check(self) -> None:
        """Raises Refused where anything was wrong."""
        if self.errors:
            raise Refused(self)

    def at(self, name: str) -> Shown:
        """A field for the template, by its name."""
        described = self.fields[name]
        unit = self.unit if described.unit == OWN_UNIT else described.unit
        return Shown(described, self.text(name), self.errors.get(name, ""), unit)

    def named_errors(self) -> list[tuple[str, str, str]]:
        """(field, its label, words) of all that is wrong, in the order of the form."""
        order = list(self.fields)
        known = sorted(self.errors, key=lambda n: order.index(n) if n in order else -1)
        return [
            (name, self.fields[name].label if name in self.fields else "", self.errors[name])
            for name in known
        ]

    @property
    def marks_needed(self) -> bool:
        """Whether some fields of this form must be filled in and others need not."""
        return any(_is_marked(one) for one in self.fields.values())


class Asking(Protocol):
    """What a form needs to know of a request (server.web.ask.Asked is one)."""

    @property
    def form(self) -> FormData: ...
    @property
    def unit(self) -> str: ...
    @property
    def query(self) -> Mapping[str, str]: ...


class Form:
    """A form's fields in the order of the page."""

    def __init__(self, *fields: Field[Any]) -> None:
        self.fields = {one.name: one for one in fields}

    def showing(
        self,
        values: Mapping[str, str] | None = None,
        *,
        unit: str = "cm",
        lengths: Mapping[str, float | None] | None = None,
    ) -> Filled:
        """The form before anything was typed: what is stored, else what each field starts from."""
        stored = _present(lengths)
        start = {name: _start(one, unit) for name, one in self.fields.items()}
        if lengths is not None:
            start |= dict.fromkeys(lengths, "")
        shown = {name: shown_length(cm, unit) for name, cm in stored.items()}
        return Filled(self.fields, start | shown | dict(values or {}), unit, stored)

    def typed(
        self,
        ask: Asking,
        *,
        again: "Callable[[Filled], Any] | None" = None,
        lengths: Mapping[str, float | None] | None = None,
    ) -> Filled:
        """The form as it was sent. again: the page that shows it once more when it is refused."""
        values = {name: _sent(ask.form, one) for name, one in self.fields.items()}
        return Filled(self.fields, values, ask.unit, _present(lengths), again=again)

    def in_address(
        self, ask: Asking, *, again: "Callable[[Filled], Any] | None" = None, fill: bool = False
    ) -> Filled:
        """A form that the address carries; an empty one shows the worked example.

        fill: what the address leaves out takes the worked example's value, field by field.
        """
        known = {
            name: ask.query[name].replace("\x00", "").strip()[: one.most]
            for name, one in self.fields.items()
            if name in ask.query
        }
        whole = fill or not known
        start = {name: _start(one, ask.unit) if whole else "" for name, one in self.fields.items()}
        return Filled(self.fields, start | known, ask.unit, again=again)


# Kinds of fields


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
        stored = form.lengths.get(name)
        if stored is not None and typed == shown_length(stored, form.unit):
            return stored
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
    start = told.pop("start", keys[0] if keys else "")

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
    earliest: date = _EARLIEST,
    latest: date = _LATEST,
    like: date | None = None,
    **told: Any,
) -> Field[date]:
    """A day: 2026-12-01, 1.12.2026 or 1/12/2026."""

    def read(typed: str, _: Filled) -> date:
        found = read_day(typed)
        if found is None:
            raise Wrong(f"Write the day as year-month-day, such as {like or '2026-12-01'}.")
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


def read_day(typed: str) -> date | None:
    """A day as a date field sends it or as people type it: 2026-12-01, 1.12.2026, 1/12/2026."""
    plain = typed.strip().replace("/", ".").replace(" ", "")
    try:
        if "." in plain:
            day_of_month, month, year = (int(part) for part in plain.rstrip(".").split("."))
            found = date(year, month, day_of_month)
        else:
            found = date.fromisoformat(plain)
    except ValueError:
        return None
    return found if _EARLIEST <= found <= _LATEST else None


def shown_length(value_cm: float, unit: str) -> str:
    """A stored length as a form shows it."""
    words = filters.number(in_unit(value_cm, unit), 1 if unit == "cm" else 2)
    return words.rstrip("0").rstrip(".") if "." in words else words


def shown(value: float) -> str:
    """A limit as people write it: 0.1, 2000, 787.4."""
    return filters.number(value, 1).removesuffix(".0")


def in_unit(value_cm: float, unit: str) -> float:
    return value_cm if unit == "cm" else value_cm / filters.CM_PER_INCH


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


def _sent(form: FormData, one: Field[Any]) -> str:
    if one.kind != "password":
        return text(form, one.name, most=one.most)
    value = form.get(one.name)
    return value if isinstance(value, str) else ""


def _start(one: Field[Any], unit: str) -> str:
    return one.start_in if unit == "in" and one.start_in else one.start


def _present(lengths: Mapping[str, float | None] | None) -> dict[str, float]:
    return {name: cm for name, cm in (lengths or {}).items() if cm is not None}


def _is_marked(one: Field[Any]) -> bool:
    return one.needed and one.kind not in ("select", "radios", "checkbox", "hidden")
