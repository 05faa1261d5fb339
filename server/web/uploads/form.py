"""How a member says a table is to be read: marks, units, and what each column holds."""

import json
from dataclasses import dataclass
from typing import Literal, cast

from starlette.datastructures import FormData

from server.db.surveys import SessionWords
from server.models import Tank
from server.surveys.table_numbers import DecimalMark
from server.surveys.table_words import LUX_UNITS, ROLES, Meaning, Role
from server.surveys.understood import ReadAs
from server.web.signed_in import text
from server.web.surveys.form import LUX_LIMITS
from server.web.tanks.typed import TypedIn

MOST_COLUMNS = 24  # shown in the form; further ones are not used
_UNITS = ("", "cm", "mm", "m", "in", *sorted(set(LUX_UNITS.values())))
LENGTHS = ("cm", "mm", "m", "in")
_NAMES = (
    "decimal", "length_unit", "date_order", "lux_per_ppfd", "fixed_x", "fixed_y", "fixed_depth",
)  # fmt: skip


@dataclass(frozen=True)
class Typed:
    """The options as typed (kept with the file), the columns by hand, and what was wrong."""

    values: dict[str, str]
    columns: tuple[Meaning, ...] | None
    errors: dict[str, str]

    def as_text(self) -> str:
        """As it is kept beside the file."""
        columns = [[c.role, c.unit, c.series] for c in self.columns] if self.columns else None
        return json.dumps({"values": self.values, "columns": columns})


def from_text(kept: str, unit: str) -> Typed:
    """The options back; at first everything is found from the file."""
    if not kept:
        return Typed(dict.fromkeys(_NAMES, "") | {"length_unit": unit}, None, {})
    told = json.loads(kept)
    columns = told["columns"]
    return Typed(
        values=told["values"],
        columns=tuple(Meaning(*column) for column in columns) if columns else None,
        errors={},
    )


def read_options(form: FormData, tank: Tank, unit: str) -> Typed:
    """Options and columns from the preview's form."""
    typed = TypedIn(form, unit)
    typed.choice("decimal", (".", ","), otherwise="")
    typed.choice("length_unit", LENGTHS, otherwise=unit)
    typed.choice("date_order", ("dmy", "mdy"), otherwise="")
    typed.number("lux_per_ppfd", low=LUX_LIMITS[0], high=LUX_LIMITS[1], like="60", needed=False)
    for name, extent in (
        ("fixed_x", tank.length_cm),
        ("fixed_y", tank.width_cm),
        ("fixed_depth", tank.depth_cm),
    ):
        typed.length(name, low_cm=0, high_cm=extent, like_cm=extent / 2, needed=False)
    columns = _columns(form) if text(form, "by_hand") == "yes" else None
    if columns is not None and not any(c.role in ("ppfd", "lux") for c in columns):
        typed.errors["column-0"] = "Say which column holds the light."
    return Typed(dict(typed.values), columns, dict(typed.errors))


def _columns(form: FormData) -> tuple[Meaning, ...]:
    found: list[Meaning] = []
    for index in range(MOST_COLUMNS):
        if f"column-{index}" not in form:
            break
        role, unit = text(form, f"column-{index}"), text(form, f"unit-{index}")
        known = cast(Role, role) if role in ROLES else None
        series = str(index) if known in ("ppfd", "lux") else ""
        found.append(Meaning(known, _unit_of(known, unit), series))
    return tuple(found)


def _unit_of(role: Role | None, unit: str) -> str:
    """The unit that was chosen, if it fits the role; µmol and lux need none."""
    if role in ("x", "y", "depth"):
        return unit if unit in LENGTHS else ""
    if role == "lux":
        return unit if unit in LUX_UNITS.values() else "lux"
    return "µmol" if role == "ppfd" else ""


def read_as(options: Typed, words: SessionWords, tank: Tank, unit: str) -> ReadAs:
    """Everything said about the file as the reader takes it."""
    values = options.values
    # The typed options were checked before they were kept; this only turns text to numbers.
    typed = TypedIn(FormData(values), unit)
    lux = typed.number("lux_per_ppfd", low=0, high=1e9, like="60", needed=False)
    fixed = [
        typed.length(name, low_cm=0, high_cm=1e4, like_cm=1, needed=False)
        for name in ("fixed_x", "fixed_y", "fixed_depth")
    ]
    return ReadAs(
        decimal=cast(DecimalMark, values["decimal"]) if values.get("decimal") else None,
        length_unit=cast(
            Literal["cm", "mm", "m", "in"],
            values["length_unit"] if values.get("length_unit") in LENGTHS else "cm",
        ),
        lux_per_ppfd=lux or words.lux_per_ppfd,
        columns=options.columns,
        x_cm=fixed[0],
        y_cm=fixed[1],
        depth_cm=fixed[2],
        tank_cm=(tank.length_cm, tank.width_cm, tank.depth_cm),
        date_order=cast(Literal["dmy", "mdy"], values["date_order"])
        if values.get("date_order") in ("dmy", "mdy")
        else None,
        taken_on=words.taken_on,
    )
