"""Forms: one description of each field, and one reader.

A field (kinds of them: `server.web.fields`) is described once: name, label, unit, hint, limits,
and how its text becomes a value.
    WATTS = number("watts", "Watts at full power", WATTS_LIMITS, like="150", unit="W")
    FORM = Form(WATTS, maybe(number("ppf", ...)))
A `Filled` is a form with what was typed (or what it starts from), and the words beside each
field that will not do. Reading `filled[WATTS]` gives a float, and goes on after an error with a
harmless value, so that every wrong field is named at once; `filled.check()` then raises
`Refused`, which shows the page again as it was typed. In templates: `{{ field(form, "watts") }}`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Generic, Protocol, TypeVar, cast

from starlette.datastructures import FormData

from server.web import filters, times
from server.web.signed_in import text

T = TypeVar("T")
Options = tuple[tuple[str, ...], ...]
OWN_UNIT = "length"
"""As a field's unit: the reader's own unit of length."""


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
        typed, stored = self.text(asked.name), self.lengths.get(asked.name)
        if stored is not None and typed == shown_length(stored, self.unit):
            return cast(T, stored)
        try:
            return asked.read(typed, self)
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
        value = self.text(name)
        if described.kind == "day":  # a browser's date field shows no other writing
            value = str(times.read_day(value) or value)
        return Shown(described, value, self.errors.get(name, ""), unit)

    def named_errors(self) -> list[tuple[str, str, str]]:
        """(field, its label, words) of all that is wrong, in the order of the form."""
        order = list(self.fields)
        known = sorted(self.errors, key=lambda n: order.index(n) if n in order else -1)
        return [
            (name, self.fields[name].label if name in self.fields else "", self.errors[name])
            for name in known
        ]

    def tells(self, names: "tuple[str, ...]") -> bool:
        """Whether any of these fields says something of its own, or is wrong."""
        return any(
            name in self.errors or self.text(name) not in ("", _start(self.fields[name], self.unit))
            for name in names
        )

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
        beside: Mapping[str, str] | None = None,
    ) -> Filled:
        """The form as it was sent. again: the page that shows it once more when it is refused.

        beside: what the fields of the page's other forms show, which were not sent.
        """
        sent = {name: _sent(ask.form, one) for name, one in self.fields.items()}
        values = sent | {name: was for name, was in (beside or {}).items() if name not in ask.form}
        return Filled(self.fields, values, ask.unit, _present(lengths), again=again)

    def in_address(
        self,
        ask: Asking,
        *,
        again: "Callable[[Filled], Any] | None" = None,
        fill: bool = False,
        lengths: Mapping[str, float | None] | None = None,
    ) -> Filled:
        """A form that the address carries; an empty one shows what it would start from.

        fill: what the address leaves out takes its start too, field by field.
        """
        known = {
            name: ask.query[name].replace("\x00", "").strip()[: one.most]
            for name, one in self.fields.items()
            if name in ask.query
        }
        start = self.showing(unit=ask.unit, lengths=lengths)
        values = start.values if fill or not known else dict.fromkeys(self.fields, "")
        return Filled(self.fields, values | known, ask.unit, start.lengths, again=again)


# Lengths in the reader's unit


def shown_length(value_cm: float, unit: str) -> str:
    """A stored length as a form shows it."""
    words = filters.number(in_unit(value_cm, unit), 1 if unit == "cm" else 2)
    return words.rstrip("0").rstrip(".") if "." in words else words


def in_unit(value_cm: float, unit: str) -> float:
    return value_cm if unit == "cm" else value_cm / filters.CM_PER_INCH


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
