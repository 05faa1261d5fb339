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
from dataclasses import dataclass, replace

from server.surveys.table_cells import Cells
from server.surveys.table_lines import Record, Refusal
from server.surveys.table_numbers import NotANumber, shown
from server.surveys.table_points import PointColumns, refusal, text_cell
from server.surveys.table_words import Meaning, length_unit, meaning, plain
from server.surveys.understood import RowRead

_VALUE = re.compile(r"(?P<value>[0-9][0-9.,]*)\s*(?P<unit>[a-z\"″”]*)\.?")
_WITHIN = 40  # records in which the first depth of a grid is looked for
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
    """Where the reader stands: the depth, and the places over the columns once they were seen.

    turned: rows run from left to right and columns from front to back ("x\\y" in the corner).
    fresh: a line of places may follow, since a depth was just named; without one the places of
    the block above go on.
    """

    depth: DepthPhrase | None = None
    depth_cm: float | None = None
    across: dict[int, tuple[str, float]] | None = None
    unit: str = ""
    turned: bool = False
    fresh: bool = False


def is_grid(records: Sequence[Record]) -> bool:
    """A line naming a depth, a line of places and a line of readings; the first two may be one."""
    for index, record in enumerate(records[:_WITHIN]):
        if _depth_in_corner(record.cells) is not None:
            across, first = record.cells, records[index + 1 : index + 2]
        elif depth_phrase(record.cells) is not None and index + 1 < len(records):
            across, first = records[index + 1].cells, records[index + 2 : index + 3]
        else:
            continue
        is_across = _is_across(across) or _depth_in_corner(across) is not None
        if is_across and first and len(_filled(first[0].cells)) >= 2:
            return _starts_number(first[0].cells)
    return False


def _depth_in_corner(cells: Sequence[str]) -> DepthPhrase | None:
    """The depth of a line of places that names it in its corner ("Depth 20 cm; 10; 30")."""
    rest = [cell for cell in cells[1:] if cell.strip()]
    if not rest or not all(_starts_number([cell]) for cell in rest):
        return None
    return depth_phrase(cells[:1])


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


@dataclass(frozen=True)
class GridRead:
    """What a grid held: readings, refusals, header lines, titles above the first depth."""

    rows: list[RowRead]
    refused: list[Refusal]
    headers: list[int]
    above: list[tuple[int, str]]
    turned: bool


def read_grid(records: Sequence[Record], cells: Cells) -> GridRead:
    """Every line of a grid to readings, refusals, headings or titles."""
    read = GridRead([], [], [], [], False)
    block = _Block()
    turned = False
    for record in records:
        _take(record, block, cells, read)
        turned = turned or block.turned
    return replace(read, turned=turned)


def _take(record: Record, block: _Block, cells: Cells, read: GridRead) -> None:
    in_corner = _depth_in_corner(record.cells)
    phrase = in_corner or depth_phrase(record.cells)
    if phrase is not None:
        read.headers.append(record.row)
        _start_block(block, phrase, record, cells, read.refused)
        if in_corner is not None:
            _places_over(record, block, cells, read.refused)
    elif block.depth is None:
        _above(record, read)
    elif block.fresh and _is_across(record.cells):
        read.headers.append(record.row)
        _places_over(record, block, cells, read.refused)
    else:
        block.fresh = False
        _read_line(record, block, cells, read)


def _above(record: Record, read: GridRead) -> None:
    """A title, unless it looks like readings that lost their depth."""
    if sum(_starts_number([cell]) for cell in record.cells) >= 3:
        read.refused.append(refusal(record, "stands above the line that names the depth"))
    else:
        read.above.append((record.row, shown(" | ".join(_filled(record.cells)), 200)))


def _start_block(
    block: _Block, phrase: DepthPhrase, record: Record, cells: Cells, refused: list[Refusal]
) -> None:
    block.depth, block.depth_cm, block.fresh = phrase, None, True
    try:
        block.depth_cm = cells.length_cm("depth", phrase.text, phrase.unit)
    except NotANumber as reason:
        refused.append(refusal(record, str(reason)))


def _places_over(record: Record, block: _Block, cells: Cells, refused: list[Refusal]) -> None:
    """The places over the columns, in the unit that the corner names for both directions."""
    corner = record.cells[0] if depth_phrase(record.cells[:1]) is None else ""
    block.unit = _corner_unit(corner)
    block.turned = bool(re.match(r"x[^a-z]*\\[^a-z]*y", plain(corner)))
    block.fresh = False
    block.across = {}
    for index, text in enumerate(record.cells[1:], start=1):
        if not text.strip():
            continue
        try:
            role = "y" if block.turned else "x"
            block.across[index] = (text, cells.length_cm(role, text, block.unit))
        except NotANumber as reason:
            refused.append(refusal(record, str(reason)))


def _corner_unit(text: str) -> str:
    bracket = re.search(r"[(\[]\s*(.*?)\s*[)\]]", text)
    unit = length_unit(bracket[1]) if bracket else None
    return unit or meaning(text).unit or length_unit(text.split()[-1] if text.split() else "") or ""


def _read_line(record: Record, block: _Block, cells: Cells, read: GridRead) -> None:
    """One line of a grid: its place first, then one light value under each place above."""
    if block.across is None or block.depth is None:
        words = "stands before the line that gives the places over the columns"
        read.refused.append(refusal(record, words))
        return
    if block.depth_cm is None:
        words = f"the depth above it, “{block.depth.text}”, was refused"
        read.refused.append(refusal(record, words))
        return
    try:
        side = cells.length_cm("x" if block.turned else "y", record.cells[0], block.unit)
    except NotANumber as reason:
        read.refused.append(refusal(record, str(reason)))
        return
    filled = [i for i, text in enumerate(record.cells[1:], start=1) if text.strip()]
    if not filled:
        read.refused.append(refusal(record, "holds no light value"))
    for index in filled:
        _read_cell(record, index, side, block, cells, read)


def _read_cell(
    record: Record, index: int, side: float, block: _Block, cells: Cells, read: GridRead
) -> None:
    assert block.across is not None and block.depth is not None and block.depth_cm is not None
    text = record.cells[index]
    try:
        if index not in block.across:
            raise NotANumber(f"“{shown(text)}” has no place above it")
        typed_over, over = block.across[index]
        ppfd = cells.ppfd(text, "")
    except NotANumber as reason:
        read.refused.append(refusal(record, f"column {index + 1}: {reason}"))
        return
    places, typed = (over, side), (typed_over, record.cells[0])
    x, y = places[::-1] if block.turned else places
    typed_x, typed_y = typed[::-1] if block.turned else typed
    cells_typed = (typed_x, typed_y, block.depth.text, text)
    read.rows.append(RowRead(record.row, x, y, block.depth_cm, ppfd, cells_typed, "µmol"))


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
