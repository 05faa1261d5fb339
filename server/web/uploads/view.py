"""What the preview of a file shows: what was understood, what was not, and why."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.models import MeasurementSession, Tank, Upload
from server.surveys.readings import Reading, Surprise, surprises
from server.surveys.table import NoHeader
from server.surveys.table_lines import DELIMITER_NAMES
from server.surveys.table_numbers import shown
from server.surveys.table_words import Meaning
from server.surveys.understood import Column, Understood
from server.web import filters
from server.web.forms import shown_length
from server.web.uploads.form import MOST_COLUMNS

SHOWN_ROWS = 12
SHOWN_REFUSED = 100
MOST_ASKED = 200  # rows up to which each is held against its neighbours


@dataclass(frozen=True)
class ColumnRow:
    """One column and what it was taken for."""

    index: int
    heading: str
    example: str
    role: str
    unit: str


@dataclass(frozen=True)
class PreviewRow:
    """One understood row: as typed, and in house units."""

    line: str
    typed: str
    where: str
    ppfd: str
    note: str


@dataclass(frozen=True)
class RefusedRow:
    line: str
    reason: str
    text: str


@dataclass(frozen=True)
class PreviewView:
    """A file before anything of it is stored."""

    upload_id: int
    tank_id: int
    tank_name: str
    name: str
    answer: str
    do: str
    factors: str
    good: int
    refused_count: int
    facts: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]
    columns: tuple[ColumnRow, ...]
    by_hand: bool
    mapping_needed: bool
    rows: tuple[PreviewRow, ...]
    is_log: bool
    refused: tuple[RefusedRow, ...]
    same_file: tuple[tuple[str, str], ...]


def preview(
    upload: Upload,
    tank: Tank,
    table: Understood,
    chosen: Sequence[Meaning] | None,
    *,
    remarks: Sequence[str],
    same: Sequence[MeasurementSession],
    factors: str,
    unit: str,
) -> PreviewView:
    """The preview of a table that was understood, wholly or in part."""
    refused = len(table.refused)
    said = [*remarks, *table.remarks]
    said += _surprises(table)
    if table.above:
        said.append("Lines over the header: " + "; ".join(words for _, words in table.above[:3]))
    answer, do = _told(table.stored, refused)
    return PreviewView(
        upload_id=upload.id,
        tank_id=tank.id,
        tank_name=tank.name,
        name="the pasted table" if upload.pasted else upload.file_name,
        answer=answer,
        do=do,
        factors=factors,
        good=table.stored,
        refused_count=refused,
        facts=_facts(table),
        remarks=tuple(said),
        columns=_columns(table.columns, chosen),
        by_hand=chosen is not None,
        mapping_needed=False,
        rows=_rows(table, unit),
        is_log=table.kind == "log",
        refused=tuple(
            RefusedRow(str(one.row), one.reason, shown(one.text, 80))
            for one in table.refused[:SHOWN_REFUSED]
        ),
        same_file=tuple((f"/sessions/{one.id}", filters.day(one.taken_on)) for one in same),
    )


def mapping(
    upload: Upload, tank: Tank, unknown: NoHeader, chosen: Sequence[Meaning] | None
) -> PreviewView:
    """The same page for a file whose headings say too little: map the columns by hand."""
    return replace(
        refused_whole(upload, tank, str(unknown)),
        answer="Say what each column holds",
        columns=_columns(unknown.columns, chosen),
        by_hand=True,
        mapping_needed=True,
    )


def refused_whole(upload: Upload, tank: Tank, reason: str) -> PreviewView:
    """A file that cannot be read at all, and why."""
    return PreviewView(
        upload_id=upload.id,
        tank_id=tank.id,
        tank_name=tank.name,
        name="the pasted table" if upload.pasted else upload.file_name,
        answer="This file could not be read",
        do=reason,
        factors="",
        good=0,
        refused_count=0,
        facts=(),
        remarks=(),
        columns=(),
        by_hand=False,
        mapping_needed=False,
        rows=(),
        is_log=False,
        refused=(),
        same_file=(),
    )


def _told(good: int, refused: int) -> tuple[str, str]:
    if not good:
        return "No row of this file could be read", "See the reasons below, and say how to read it."
    answer = f"{filters.count(good, 'reading')} understood"
    if not refused:
        return f"{answer}, nothing refused", "Nothing is stored yet. Look it over, then store it."
    verb = "row was" if refused == 1 else "rows were"
    return (
        f"{answer}; {refused} {verb} not",
        "Nothing is stored yet. Correct the file and send it again, or store the good rows only.",
    )


def _surprises(table: Understood) -> list[str]:
    """Values to look at again; asked about, never refused."""
    if len(table.rows) > MOST_ASKED:
        return []
    readings = [
        Reading(x_cm=row.x_cm, y_cm=row.y_cm, depth_cm=row.depth_cm, ppfd=row.ppfd, number=row.row)
        for row in table.rows
    ]
    return [_asked(one, asking) for one, asking in surprises(readings)]


def _asked(one: Reading, asking: Surprise) -> str:
    usual = float(f"{asking.usual_ppfd:.2g}")
    words = f"Line {one.number}: {one.ppfd:g}? Its neighbours lead one to expect about {usual:g}."
    if asking.perhaps_ppfd is None:
        return words
    return f"{words} Did a digit slip, and {asking.perhaps_ppfd:g} is meant?"


def _facts(table: Understood) -> tuple[tuple[str, str], ...]:
    marks = {",": "comma", ".": "point", None: "both are in use"}
    kinds = {"points": "one place a row", "grid": "a grid for each depth", "log": "a sensor's log"}
    header = ", ".join(str(row) for row in table.header_rows[:6])
    return (
        ("Kind of table", kinds[table.kind]),
        ("Lines in the file", str(table.lines_in)),
        ("Header in line", header or "none"),
        ("Between columns", DELIMITER_NAMES[table.delimiter]),
        ("Decimal mark", marks[table.decimal]),
        ("Letters", table.encoding if table.encoding != "text" else "pasted"),
    )


def _columns(columns: Sequence[Column], chosen: Sequence[Meaning] | None) -> tuple[ColumnRow, ...]:
    rows = []
    for index, column in enumerate(columns[:MOST_COLUMNS]):
        meaning = chosen[index] if chosen and index < len(chosen) else column.meaning
        rows.append(
            ColumnRow(
                index=index,
                heading=column.heading or f"column {index + 1}",
                example=column.example,
                role=meaning.role or "",
                unit=meaning.unit if meaning.unit != "µmol" else "",
            )
        )
    return tuple(rows)


def _rows(table: Understood, unit: str) -> tuple[PreviewRow, ...]:
    if table.kind == "log":
        return tuple(
            PreviewRow(
                line=str(line.row),
                typed=" · ".join(line.typed),
                where=f"{filters.day(line.at.date())}, {line.at:%H:%M:%S}",
                ppfd=f"{line.ppfd:.5g}",
                note="",
            )
            for line in table.log[:SHOWN_ROWS]
        )
    return tuple(
        PreviewRow(
            line=str(row.row),
            typed=" · ".join(shown(cell, 16) for cell in row.typed if cell),
            where=", ".join(shown_length(v, unit) for v in (row.x_cm, row.y_cm, row.depth_cm)),
            ppfd=f"{row.ppfd:.5g}",
            note=shown(row.note, 40),
        )
        for row in table.rows[:SHOWN_ROWS]
    )
