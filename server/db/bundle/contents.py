"""What belongs to a tank: which tables travel in a bundle, in which order, and what stays.

A bundle is a zip of one CSV per table and a description. Rows are numbered from 1 within each
table, so that a bundle says nothing of the database it came from and packs again to the same.
"""

from dataclasses import dataclass
from functools import cache, cached_property

from sqlalchemy import Column, LargeBinary, Table
from sqlmodel import SQLModel

FORMAT = "underlamp-tank"
VERSION = 1

TABLES = (
    "lampmodel",
    "lampchannel",
    "tank",
    "setup",
    "hunglamp",
    "lampmeasurement",
    "animal",
    "animalmove",
    "measurementsession",
    "plannedpoint",
    "reading",
    "loggedlight",
    "upload",
    "surveyact",
    "schedule",
    "scheduleday",
    "acclimationplan",
    "acclimationstep",
    "acclimationanswer",
    "choredone",
    "choreevery",
    "tanknote",
    "dimdays",
)
"""In the order in which they can be read back: nothing refers to a later table."""

LATER = ("animalmove", "dimdays")
"""Tables that bundles written before them do not hold; missing, they are read as empty."""

SHELF = ("lampmodel", "lampchannel")
"""Tables of the club's shelf: they travel because the tank's lamps refer to them."""

PEOPLE = "member"
"""A column that names a person travels as 'keeper' or stays empty: a bundle holds no names."""

LEFT_OUT = {
    ("lampmodel", "merged_into_id"): "another model of the club it came from",
    ("lampmodel", "created_by_id"): "the shelf it came from knows who added it",
    ("lampmodel", "created_at"): "the shelf it came from knows when",
    ("measurementsession", "meter_id"): "a meter of the club it came from; its factors travel",
}

EMBEDDED = {("acclimationplan", "used_to"): ("animal_id", "animal")}
"""JSON lists whose entries hold a row's number: (table, column) -> (key, table it refers to)."""

UNITS = {
    "_cm": "cm",
    "_deg": "°",
    "_umol_s": "µmol/s",
    "ppfd": "µmol/(m²·s)",
    "watts": "W",
    "power": "share 0–1",
    "_factor": "factor",
    "_per_m": "1/m",
    "_min": "min",
    "_h": "h",
    "_hours": "h",
    "_percent": "%",
    "_mol_m2_d": "mol/(m²·d)",
}


@dataclass(frozen=True)
class Travelling:
    """One column of a bundle's table."""

    column: Column[object]
    refers_to: str | None
    """Table of the bundle whose row numbers stand in this column."""
    person: bool = False

    @cached_property
    def name(self) -> str:
        return str(self.column.name)

    @cached_property
    def is_file(self) -> bool:
        """Whether a cell names an entry of the bundle instead of holding the value."""
        return isinstance(self.column.type, LargeBinary)

    @property
    def unit(self) -> str:
        ending = next((end for end in UNITS if self.name.endswith(end)), "")
        return UNITS.get(ending, "")


def table(name: str) -> Table:
    return SQLModel.metadata.tables[name]


@cache
def columns(name: str) -> tuple[Travelling, ...]:
    """The columns of a table that travel, in the order of the table."""
    found = []
    for column in table(name).columns:
        if (name, column.name) in LEFT_OUT:
            continue
        target = next((key.column.table.name for key in column.foreign_keys), None)
        if target == PEOPLE:
            found.append(Travelling(column=column, refers_to=None, person=True))
        else:
            found.append(Travelling(column=column, refers_to=target))
    return tuple(found)


_THROUGH = {"upload": "session_id"}  # a file that waits for its member's word stays


def numbered(name: str) -> bool:
    """Whether rows of this table have a number of their own."""
    return "id" in table(name).columns


@cache
def referred() -> frozenset[str]:
    """Tables whose rows other tables of a bundle name by number."""
    named = {column.refers_to for name in TABLES for column in columns(name) if column.refers_to}
    return frozenset(named | {target for _, target in EMBEDDED.values()})


def owners(name: str) -> tuple[str, str] | None:
    """(column, table) through which rows of a table belong to a tank; None for the tank itself."""
    if name == "tank":
        return None
    through = _THROUGH.get(name)
    for column in columns(name):
        if column.refers_to and column.refers_to not in SHELF and through in (None, column.name):
            return column.name, column.refers_to
    return None
