"""How a member says a table is to be read: marks, units, and what each column holds."""

import json
from dataclasses import dataclass
from typing import Literal, cast

from starlette.datastructures import FormData

from server.db.surveys import SessionWords
from server.models import Tank
from server.surveys.readings import LUX_LIMITS
from server.surveys.table_numbers import DecimalMark
from server.surveys.table_words import LUX_UNITS, ROLES, Meaning, Role
from server.surveys.understood import ReadAs
from server.web.fields import choice, length, maybe, number
from server.web.forms import Field, Filled, Form
from server.web.signed_in import text

MOST_COLUMNS = 24  # shown in the form; further ones are not used
LENGTHS = ("cm", "mm", "m", "in")

LENGTH_UNIT = choice(
    "length_unit", "Lengths without a unit are in",
    (("cm", "cm"), ("mm", "mm"), ("m", "m"), ("in", "inches")),
)  # fmt: skip
DECIMAL = choice(
    "decimal", "Decimal mark",
    (("", "found from the file"), (".", "point, as in 12.5"), (",", "comma, as in 12,5")),
)  # fmt: skip
DATE_ORDER = choice(
    "date_order", "Dates such as 04/05/2026",
    (("", "found from the file"), ("dmy", "day first"), ("mdy", "month first")),
)  # fmt: skip
LUX = maybe(
    number("lux_per_ppfd", "Lux per µmol m⁻² s⁻¹", LUX_LIMITS, like="60",
           hint="For columns of lux; it depends on the lamp's colours.")
)  # fmt: skip
_FIXED = (("fixed_x", "From the left wall"), ("fixed_y", "From the front wall"),
          ("fixed_depth", "Depth"))  # fmt: skip
_ANYWHERE_CM = (0.0, 1e4)
"""The tank may have been changed since a place was said; the reader of the table bounds it."""


def options_form(tank: Tank) -> Form:
    """The form beside a preview; its places lie inside the tank."""
    extents = (tank.length_cm, tank.width_cm, tank.depth_cm)
    places = (
        _place(name, label, (0.0, extent))
        for (name, label), extent in zip(_FIXED, extents, strict=True)
    )
    return Form(LENGTH_UNIT, DECIMAL, LUX, *places, DATE_ORDER)


def _place(name: str, label: str, limits_cm: tuple[float, float]) -> Field[float | None]:
    return maybe(length(name, label, limits_cm, like_cm=limits_cm[1] / 2))


@dataclass(frozen=True)
class Options:
    """What was said of a file: the form as typed (kept with the file), the columns by hand."""

    form: Filled
    columns: tuple[Meaning, ...] | None

    def as_text(self) -> str:
        """As it is kept beside the file."""
        columns = [[c.role, c.unit, c.series] for c in self.columns] if self.columns else None
        return json.dumps({"values": self.form.values, "columns": columns})


def from_text(kept: str, tank: Tank, unit: str) -> Options:
    """The options back; at first everything is found from the file."""
    told = json.loads(kept) if kept else {"values": {"length_unit": unit}, "columns": None}
    columns = told["columns"]
    return Options(
        options_form(tank).showing(told["values"], unit=unit),
        tuple(Meaning(*column) for column in columns) if columns else None,
    )


def check_options(form: Filled, columns: tuple[Meaning, ...] | None) -> None:
    """Raises Refused for what cannot be kept."""
    for field in form.fields.values():
        form[field]
    if columns is not None and not any(one.role in ("ppfd", "lux") for one in columns):
        form.wrong("column-0", "Say which column holds the light.")
    form.check()


def columns_by_hand(form: FormData) -> tuple[Meaning, ...] | None:
    """What each column holds, where the member says so."""
    if text(form, "by_hand") != "yes":
        return None
    found: list[Meaning] = []
    for index in range(MOST_COLUMNS):
        if f"column-{index}" not in form:
            break
        role, unit = text(form, f"column-{index}"), text(form, f"unit-{index}")
        known = next((one for one in ROLES if one == role), None)
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


def read_as(options: Options, words: SessionWords, tank: Tank) -> ReadAs:
    """Everything said about the file as the reader takes it."""
    form = options.form
    fixed = [form[_place(name, label, _ANYWHERE_CM)] for name, label in _FIXED]
    return ReadAs(
        decimal=cast(DecimalMark, form[DECIMAL]) if form[DECIMAL] else None,
        length_unit=cast(Literal["cm", "mm", "m", "in"], form[LENGTH_UNIT]),
        lux_per_ppfd=form[LUX] or words.lux_per_ppfd,
        columns=options.columns,
        x_cm=fixed[0],
        y_cm=fixed[1],
        depth_cm=fixed[2],
        tank_cm=(tank.length_cm, tank.width_cm, tank.depth_cm),
        date_order=cast(Literal["dmy", "mdy"], form[DATE_ORDER]) if form[DATE_ORDER] else None,
        taken_on=words.taken_on,
    )
