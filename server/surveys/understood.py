"""What a table of readings was understood to be: inputs of the reader and its results."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from server.surveys.table_lines import Refusal
from server.surveys.table_numbers import DecimalMark
from server.surveys.table_words import Meaning

Kind = Literal["points", "grid", "log"]

MAX_PPFD = 20_000.0  # ten times the midday sun: above it a digit has slipped
MAX_LENGTH_CM = 1_000.0  # no club tank is longer; used when the tank is not given


@dataclass(frozen=True, kw_only=True)
class ReadAs:
    """How to read a table. Everything left alone is found out from the file.

    `length_unit` is for headings that name none. `lux_per_ppfd` is the lamp's lux per
    µmol m⁻² s⁻¹, needed for columns of lux. `columns` is the mapping by hand, one meaning per
    column. `x_cm`, `y_cm`, `depth_cm` stand in for columns the file does not have.
    `tank_cm` (length, width, depth) refuses places outside the tank.
    """

    delimiter: str | None = None
    decimal: DecimalMark | None = None
    length_unit: Literal["cm", "mm", "m", "in"] = "cm"
    lux_per_ppfd: float | None = None
    columns: tuple[Meaning, ...] | None = None
    x_cm: float | None = None
    y_cm: float | None = None
    depth_cm: float | None = None
    tank_cm: tuple[float, float, float] | None = None
    date_order: Literal["dmy", "mdy"] | None = None
    taken_on: date | None = None


@dataclass(frozen=True, slots=True)
class RowRead:
    """One reading: as typed (`typed` = x, y, depth, light, unchanged text) and in house units.

    `ppfd` is the value as typed turned to µmol m⁻² s⁻¹; the sensor's factors are not in it.
    """

    row: int
    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float
    typed: tuple[str, str, str, str]
    light_unit: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class LogRow:
    """One line of a fixed sensor's log. `at` is the clock on the wall, without zone."""

    row: int
    at: datetime
    ppfd: float
    typed: tuple[str, str]
    light_unit: str


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the file and what it was taken for; `role` None is a column not used."""

    heading: str
    meaning: Meaning
    example: str


@dataclass(frozen=True)
class Understood:
    """A table as it was understood. Every line of the file is in exactly one place:
    rows + refused (grids: their cells), header, above, blank.

    `above` are titles over the header (line, text). `remarks` are sentences worth a look.
    """

    kind: Kind
    encoding: str
    delimiter: str
    decimal: DecimalMark | None
    columns: tuple[Column, ...]
    header_rows: tuple[int, ...]
    rows: tuple[RowRead, ...]
    log: tuple[LogRow, ...]
    refused: tuple[Refusal, ...]
    above: tuple[tuple[int, str], ...]
    blank_lines: int
    lines_in: int
    signature: str
    remarks: tuple[str, ...] = ()

    @property
    def stored(self) -> int:
        """How many readings would be stored."""
        return len(self.rows) + len(self.log)
