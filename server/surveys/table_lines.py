"""Lines of text to records of cells, and which mark stands between the cells.

Quotation marks follow RFC 4180; an inch mark in the middle of a cell is left alone, and a
quotation mark that is never closed costs its own line only, not the rest of the file.
"""

import csv
import re
from collections import Counter
from dataclasses import dataclass

from server.surveys.table_text import MAX_COLUMNS, MAX_ROWS, NotATable
from server.surveys.table_words import meanings

DELIMITERS = ("\t", ";", ",", "|")
SPACES = " "  # the last resort: columns lined up by spaces
DELIMITER_NAMES = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", SPACES: "spaces"}
_NOTHING = " \t\u00a0;,|"  # a line of these holds no reading
_LOOK_AT = 60  # lines read to find the delimiter
_QUOTED_LINES = 20  # a quoted note may run over this many lines
_EXTRA_LINES = 2_000  # titles, blank lines and totals around 50,000 rows


@dataclass(frozen=True, slots=True)
class Record:
    """One row of the table. `row` is its first line in the file, counted from 1."""

    row: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class Refusal:
    """One row (or one cell of a grid) that was not understood, and why."""

    row: int
    reason: str
    text: str = ""


@dataclass(frozen=True)
class Records:
    """`lines_in` counts every line; blank ones (only delimiters included) hold no reading."""

    records: list[Record]
    refused: list[Refusal]
    blank_lines: int
    lines_in: int
    delimiter: str


def records(lines: tuple[str, ...], *, delimiter: str | None = None) -> Records:
    """Cut lines into records. `delimiter` None finds it. Raises NotATable when too large."""
    first = 0
    declared = _declared_delimiter(lines[0])
    if declared:
        first, delimiter = 1, delimiter or declared
    delimiter = delimiter or find_delimiter(lines[first : first + _LOOK_AT])
    found: list[Record] = []
    refused: list[Refusal] = []
    blank = first
    index = first
    while index < len(lines):
        cells, used = _record(lines, index, delimiter)
        if cells is None:
            refused.append(
                Refusal(index + 1, "A quotation mark is opened and never closed.", lines[index])
            )
        elif any(cell.strip(_NOTHING) for cell in cells):
            found.append(Record(index + 1, cells))
        else:
            blank += used
        index += used
    _refuse_too_many(found)
    return Records(found, refused, blank, len(lines), delimiter)


def _declared_delimiter(line: str) -> str | None:
    """Spreadsheets may begin a file with `sep=;`."""
    match = re.fullmatch(r'"?sep=(.)"?', line.strip("\ufeff "), re.IGNORECASE)
    if match and match[1] in DELIMITERS:
        return match[1]
    return "\t" if line.lower() == "sep=\t" else None


def _record(lines: tuple[str, ...], index: int, delimiter: str) -> tuple[list[str] | None, int]:
    line = lines[index]
    if delimiter == SPACES:
        return line.split(), 1
    if '"' not in line:
        return line.split(delimiter), 1
    marks = line.count(delimiter)
    for used in range(1, min(_QUOTED_LINES, len(lines) - index) + 1):
        # A whole row inside the quotation marks means that they were never closed.
        if used > 1 and lines[index + used - 1].count(delimiter) >= marks > 0:
            return None, 1
        cells = _quoted("\n".join(lines[index : index + used]), delimiter)
        if cells is not None:
            return cells, used
    return None, 1


def _quoted(text: str, delimiter: str) -> list[str] | None:
    """Cells of a record with quotation marks, or None while one is still open."""
    try:
        return next(csv.reader([text], delimiter=delimiter, strict=True), [])
    except csv.Error as error:
        if "unexpected end" in str(error):
            return None
    return next(csv.reader([text], delimiter=delimiter), [])


def find_delimiter(lines: tuple[str, ...]) -> str:
    """The mark that makes a header of known words, or else the most even columns."""
    sample = tuple(line for line in lines if line.strip())
    best = max(DELIMITERS, key=lambda mark: _evidence(sample, mark))
    if _evidence(sample, best) > (0, 0.0):
        return best
    widths = {len(line.split()) for line in sample[-10:]}
    return SPACES if len(widths) == 1 and widths.pop() >= 2 else ","


def _evidence(sample: tuple[str, ...], delimiter: str) -> tuple[int, float]:
    rows = [_record(sample, index, delimiter)[0] or [] for index in range(len(sample))]
    known = max((_known_words(cells) for cells in rows), default=0)
    widths = Counter(_width(cells) for cells in rows)
    widths.pop(0, None)
    widths.pop(1, None)
    even = max(widths.values(), default=0) / max(len(rows), 1)
    return (known if known > 1 else 0), even


def _known_words(cells: list[str]) -> int:
    if len(cells) < 2 or len(cells) > MAX_COLUMNS:
        return 0
    return len({meaning.role for meaning in meanings(cells) if meaning.role})


def _width(cells: list[str]) -> int:
    """Cells up to the last one that holds anything: trailing delimiters do not count."""
    width = len(cells)
    while width and not cells[width - 1].strip():
        width -= 1
    return width


def _refuse_too_many(found: list[Record]) -> None:
    if len(found) > MAX_ROWS + _EXTRA_LINES:
        raise NotATable(
            f"The file has {len(found):,} rows; the limit is {MAX_ROWS:,}. Send it in parts.",
            too_large=True,
        )
    for record in found:
        if len(record.cells) > MAX_COLUMNS and _width(record.cells) > MAX_COLUMNS:
            raise NotATable(
                f"Line {record.row} has {_width(record.cells)} columns; "
                f"the limit is {MAX_COLUMNS}.",
                row=record.row,
            )
