"""A table of points: one place a row, one light value or several repeated ones."""

import re
from collections.abc import Sequence

from server.surveys.table_cells import Cells
from server.surveys.table_lines import Record, Refusal
from server.surveys.table_numbers import NotANumber, shown
from server.surveys.table_words import Meaning, plain
from server.surveys.understood import RowRead

_TOTALS = re.compile(
    r"(?:grand )?(?:totals?|sums?|average|avg|mean|median|min(?:imum)?|max(?:imum)?|count|std"
    r"|stdev|summen?|gesamt|mittelwert|mittel|durchschnitt|anzahl|moyenne|somme|totaux|promedio"
    r"|suma|media|totale|somma|gemiddelde|totaal|medel|srednia|uniformity)\b.*"
)


class PointColumns:
    """Which column holds what. Several light columns are repeats of one reading."""

    def __init__(self, columns: Sequence[Meaning]) -> None:
        self.places = {role: _first(columns, role) for role in ("x", "y", "depth")}
        self.light = light_columns(columns)
        self.note = _first(columns, "note")
        self.width = len(columns)
        self.units = [meaning.unit for meaning in columns]


def _first(columns: Sequence[Meaning], role: str) -> int | None:
    return next((i for i, meaning in enumerate(columns) if meaning.role == role), None)


def light_columns(columns: Sequence[Meaning]) -> tuple[int, ...]:
    """Columns of light that are read. PPFD before lux; more than one only as a numbered series
    ("PAR 1", "PAR 2"), since a second kind of light value would be another quantity."""
    for role in ("ppfd", "lux"):
        found = [i for i, meaning in enumerate(columns) if meaning.role == role]
        series = [i for i in found if columns[i].series]
        if len(series) > 1 and len({columns[i].series for i in series}) == len(series):
            return tuple(series)
        if found:
            return (found[0],)
    return ()


def read_points(
    records: Sequence[Record], columns: Sequence[Meaning], cells: Cells
) -> tuple[list[RowRead], list[Refusal]]:
    """Every record to its readings or to a refusal."""
    where = PointColumns(columns)
    rows: list[RowRead] = []
    refused: list[Refusal] = []
    for record in records:
        try:
            rows.extend(_readings(record, where, cells, refused))
        except NotANumber as reason:
            refused.append(refusal(record, str(reason)))
    return rows, refused


def refusal(record: Record, reason: str) -> Refusal:
    """The refusal of a whole row, in kinder words when it is a line of totals."""
    text = " | ".join(record.cells)
    first = next((cell for cell in record.cells if cell.strip()), "")
    if _TOTALS.fullmatch(plain(first)):
        reason = "A line of totals, not a reading."
    return Refusal(record.row, reason[0].upper() + reason[1:], shown(text, 120))


def _readings(
    record: Record, where: PointColumns, cells: Cells, refused: list[Refusal]
) -> list[RowRead]:
    row = record.cells
    _refuse_extra_cells(row, where.width)
    problems: list[str] = []
    texts, places = _places(row, where, cells, problems)
    lights = [(i, row[i]) for i in where.light if i < len(row) and row[i].strip()]
    if not lights:
        problems.append("the light value is missing")
    read: list[tuple[str, float, str]] = []
    failed: list[str] = []
    for index, text in lights:
        try:
            read.append((text, cells.ppfd(text, where.units[index]), where.units[index]))
        except NotANumber as reason:
            failed.append(str(reason))
    if problems or not read:
        raise NotANumber("; ".join(problems + failed))
    refused.extend(refusal(record, reason) for reason in failed)
    note = text_cell(row[where.note]) if where.note is not None and where.note < len(row) else ""
    return [
        RowRead(record.row, *places, ppfd, (*texts, text), unit or "µmol", note)
        for text, ppfd, unit in read
    ]


def _places(
    row: list[str], where: PointColumns, cells: Cells, problems: list[str]
) -> tuple[tuple[str, str, str], tuple[float, float, float]]:
    texts: list[str] = []
    places: list[float] = []
    constants = {"x": cells.how.x_cm, "y": cells.how.y_cm, "depth": cells.how.depth_cm}
    for role, index in where.places.items():
        text = row[index] if index is not None and index < len(row) else ""
        fixed = constants[role]
        if index is None and fixed is not None:
            places.append(fixed)
        elif not text.strip():
            problems.append(f"{role} is missing")
        else:
            try:
                places.append(cells.length_cm(role, text, where.units[index or 0]))
            except NotANumber as reason:
                problems.append(str(reason))
        texts.append(text)
    if problems:
        return ("", "", ""), (0.0, 0.0, 0.0)
    return (texts[0], texts[1], texts[2]), (places[0], places[1], places[2])


def _refuse_extra_cells(row: list[str], width: int) -> None:
    if len(row) > width and any(cell.strip() for cell in row[width:]):
        filled = max(i for i, cell in enumerate(row) if cell.strip()) + 1
        raise NotANumber(
            f"has {filled} cells where the header has {width}: is a decimal comma or a comma in "
            "a note taken for a column's end? Put semicolons or tabs between the columns"
        )


def text_cell(text: str) -> str:
    """A note as it was meant: the mark that makes formula-like text harmless is taken off."""
    text = text.strip()
    if len(text) > 1 and text[0] == "'" and text[1] in "=+-@\t'":
        return text[1:]
    return text
