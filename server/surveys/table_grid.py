"""Depth-by-depth grids and tables with one light column per depth.

A grid is a block: a line that names the depth, a line with x across, then one line per y.

    Depth 20 cm
    y \\ x ; 10 ; 30 ; 50
    10     ; 120; 150; 130
    30     ; 110; 160;

An empty cell is a place nobody measured. Each filled cell is one reading or one refusal.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from server.surveys.table_cells import Cells
from server.surveys.table_lines import Record, Refusal
from server.surveys.table_numbers import NotANumber, shown
from server.surveys.table_points import PointColumns, refusal, text_cell
from server.surveys.table_words import Meaning, length_unit, meaning, plain
from server.surveys.understood import RowRead

_VALUE = re.compile(r"(?P<value>[0-9][0-9.,]*)\s*(?P<unit>[a-z\"″”]*)\.?")
_CORNER = re.compile(r"[xy][^a-z0-9]*[xy]|[xy]|(?:y|x)? ?(?:down|across|rows?|columns?)")


@dataclass(frozen=True, slots=True)
class DepthPhrase:
    """ "Depth 20 cm": the number's text and its unit ("" when none was written)."""

    text: str
    unit: str


def depth_phrase(cells: Sequence[str]) -> DepthPhrase | None:
    """The depth a line names, when naming a depth is all it does."""
    filled = [cell for cell in cells if cell.strip()]
    if not filled or len(filled) > 3:
        return None
    words = plain(" ".join(filled)).replace(":", " ").replace("=", " ").replace("@", "depth ")
    found = _VALUE.search(words)
    if not found:
        return None
    rest = (words[: found.start()] + " " + words[found.end() :]).strip(" ()[].,-")
    if meaning(rest).role != "depth" and meaning(words).role != "depth":
        return None
    if len(rest.split()) > 3:
        return None
    unit = found["unit"]
    if unit and length_unit(unit) is None:
        return None
    return DepthPhrase(
        found["value"], length_unit(unit) or meaning(rest).unit if unit else meaning(rest).unit
    )


@dataclass
class _Block:
    """Where the reader stands: the depth, and the x over each column once it was seen."""

    depth: DepthPhrase | None = None
    depth_cm: float | None = None
    across: dict[int, tuple[str, float]] | None = None


def is_grid(records: Sequence[Record]) -> bool:
    """A line naming a depth, followed by a line of x values and a line of readings."""
    for index, record in enumerate(records[:40]):
        if depth_phrase(record.cells) is None or index + 2 >= len(records):
            continue
        across, first = records[index + 1].cells, records[index + 2].cells
        if _is_across(across) and len(_filled(first)) >= 2 and _starts_number(first):
            return True
    return False


def _is_across(cells: Sequence[str]) -> bool:
    """Corner (empty or a word such as "y\\x"), then at least one number."""
    if len(cells) < 2 or not _is_corner(cells[0]):
        return False
    rest = [cell for cell in cells[1:] if cell.strip()]
    return bool(rest) and all(_starts_number([cell]) for cell in rest)


def _is_corner(text: str) -> bool:
    words = plain(text)
    bare = re.sub(r"[(\[].*?[)\]]|\b(?:cm|mm|in|inch|inches|m)\b", "", words).strip()
    return not bare or bool(_CORNER.fullmatch(bare)) or meaning(text).role in ("x", "y")


def _starts_number(cells: Sequence[str]) -> bool:
    return bool(cells) and bool(re.match(r"\s*[+-]?[0-9]", cells[0]))


def _filled(cells: Sequence[str]) -> list[str]:
    return [cell for cell in cells if cell.strip()]


def read_grid(
    records: Sequence[Record], cells: Cells
) -> tuple[list[RowRead], list[Refusal], list[int], list[tuple[int, str]]]:
    """Readings, refusals, header lines, and titles above the first depth."""
    rows: list[RowRead] = []
    refused: list[Refusal] = []
    headers: list[int] = []
    above: list[tuple[int, str]] = []
    block = _Block()
    for record in records:
        phrase = depth_phrase(record.cells)
        if phrase is not None:
            headers.append(record.row)
            _start_block(block, phrase, record, cells, refused)
        elif block.depth is None:
            above.append((record.row, shown(" | ".join(_filled(record.cells)), 200)))
        elif block.across is None and _is_across(record.cells):
            headers.append(record.row)
            block.across = _across(record, cells, refused)
        else:
            _read_line(record, block, cells, rows, refused)
    return rows, refused, headers, above


def _start_block(
    block: _Block, phrase: DepthPhrase, record: Record, cells: Cells, refused: list[Refusal]
) -> None:
    block.depth, block.across, block.depth_cm = phrase, None, None
    try:
        block.depth_cm = cells.length_cm("depth", phrase.text, phrase.unit)
    except NotANumber as reason:
        refused.append(refusal(record, str(reason)))


def _across(record: Record, cells: Cells, refused: list[Refusal]) -> dict[int, tuple[str, float]]:
    unit = _corner_unit(record.cells[0])
    found: dict[int, tuple[str, float]] = {}
    for index, text in enumerate(record.cells[1:], start=1):
        if not text.strip():
            continue
        try:
            found[index] = (text, cells.length_cm("x", text, unit))
        except NotANumber as reason:
            refused.append(refusal(record, str(reason)))
    return found


def _corner_unit(text: str) -> str:
    bracket = re.search(r"[(\[]\s*(.*?)\s*[)\]]", text)
    unit = length_unit(bracket[1]) if bracket else None
    return unit or meaning(text).unit or length_unit(text.split()[-1] if text.split() else "") or ""


def _read_line(
    record: Record,
    block: _Block,
    cells: Cells,
    rows: list[RowRead],
    refused: list[Refusal],
) -> None:
    """One y: its number first, then one light value under each x."""
    if block.across is None or block.depth is None:
        refused.append(refusal(record, "stands before the line that gives x over each column"))
        return
    if block.depth_cm is None:
        refused.append(refusal(record, f"the depth above it, “{block.depth.text}”, was refused"))
        return
    typed_y = record.cells[0]
    try:
        y_cm = cells.length_cm("y", typed_y, "")
    except NotANumber as reason:
        refused.append(refusal(record, str(reason)))
        return
    for index, text in enumerate(record.cells[1:], start=1):
        if not text.strip():
            continue
        try:
            if index not in block.across:
                raise NotANumber(f"“{shown(text)}” has no x above it")
            typed_x, x_cm = block.across[index]
            ppfd = cells.ppfd(text, "")
        except NotANumber as reason:
            refused.append(refusal(record, f"column {index + 1}: {reason}"))
            continue
        typed = (typed_x, typed_y, block.depth.text, text)
        rows.append(RowRead(record.row, x_cm, y_cm, block.depth_cm, ppfd, typed, "µmol"))


# One light column per depth: "x; y; 10 cm; 20 cm; 40 cm".


def wide_depths(headings: Sequence[str]) -> dict[int, DepthPhrase]:
    """Columns headed by a depth ("20 cm", "depth 20", "PAR at 20 cm")."""
    found: dict[int, DepthPhrase] = {}
    for index, heading in enumerate(headings):
        match = _VALUE.search(plain(heading))
        if not match:
            continue
        unit = length_unit(match["unit"]) if match["unit"] else ""
        named = meaning(re.sub(r"[0-9.,]+", " ", heading)).role == "depth"
        if unit is not None and (unit or named):
            found[index] = DepthPhrase(match["value"], unit)
    return found


def read_wide(
    records: Sequence[Record],
    columns: Sequence[Meaning],
    depths: dict[int, DepthPhrase],
    cells: Cells,
    header: Record,
) -> tuple[list[RowRead], list[Refusal]]:
    """x and y from their columns, one reading under each depth."""
    where = PointColumns(columns)
    rows: list[RowRead] = []
    refused: list[Refusal] = []
    known: dict[int, float] = {}
    for index, phrase in depths.items():
        try:
            known[index] = cells.length_cm("depth", phrase.text, phrase.unit)
        except NotANumber as reason:
            refused.append(refusal(header, str(reason)))
    for record in records:
        _read_wide_row(record, where, depths, known, cells, rows, refused)
    return rows, refused


def _read_wide_row(
    record: Record,
    where: PointColumns,
    depths: dict[int, DepthPhrase],
    known: dict[int, float],
    cells: Cells,
    rows: list[RowRead],
    refused: list[Refusal],
) -> None:
    row = record.cells
    try:
        texts = [_cell(row, where.places[role]) for role in ("x", "y")]
        x_cm, y_cm = (
            cells.length_cm(role, text, where.units[where.places[role] or 0])
            for role, text in zip(("x", "y"), texts, strict=True)
        )
        extra = [cell for cell in row[where.width :] if cell.strip()]
        if extra:
            raise NotANumber(f"“{shown(extra[0])}” has no heading above it")
    except NotANumber as reason:
        refused.append(refusal(record, str(reason)))
        return
    note = text_cell(_cell(row, where.note)) if where.note is not None else ""
    filled = [index for index in depths if _cell(row, index).strip()]
    if not filled:
        refused.append(refusal(record, "holds no light value"))
    for index in filled:
        text = row[index]
        try:
            if index not in known:
                raise NotANumber(f"the depth over it, “{depths[index].text}”, was refused")
            ppfd = cells.ppfd(text, "")
        except NotANumber as reason:
            refused.append(refusal(record, f"column {index + 1}: {reason}"))
            continue
        typed = (texts[0], texts[1], depths[index].text, text)
        rows.append(RowRead(record.row, x_cm, y_cm, known[index], ppfd, typed, "µmol", note))


def _cell(row: Sequence[str], index: int | None) -> str:
    return row[index] if index is not None and index < len(row) else ""
