"""A file or pasted text of readings, understood.

`read` finds encoding, delimiter, header, units and decimal mark, and sorts every line of the
file into readings, refusals with a reason, headings, titles and blanks. Nothing is dropped in
silence and nothing is stored here: the result is what a preview shows.
"""

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass

from server.surveys.table_cells import Cells
from server.surveys.table_grid import depth_phrase, is_grid, read_grid, read_wide, wide_depths
from server.surveys.table_lines import Record, Records, Refusal, records
from server.surveys.table_log import dates_unused, read_log
from server.surveys.table_numbers import DecimalMark, NotANumber, decimal_mark, number, shown
from server.surveys.table_points import light_columns, read_points, refusal
from server.surveys.table_text import MAX_ROWS, NotATable, plain_text
from server.surveys.table_words import (
    UNKNOWN,
    Meaning,
    length_unit,
    light_unit,
    meanings,
    signature,
)
from server.surveys.understood import Column, LogRow, ReadAs, RowRead, Understood

_HEADER_WITHIN = 40  # records that may stand above the header
_PLACES = ("x", "y", "depth")

_UPRIGHT = "In the grids, columns were read from left to right, rows from front to back."
_TURNED = "In the grids, rows were read from left to right, columns from front to back."
NO_HEADER = (
    "No line says what the columns are. Put headings over them, such as "
    "x_cm, y_cm, depth_cm, ppfd, or say by hand what each column holds."
)


class NoHeader(NotATable):
    """The headings say nothing: the columns have to be mapped by hand.

    `columns` shows what the file holds; `signature` is the key to remember a mapping by.
    """

    def __init__(self, columns: tuple[Column, ...], key: str, reason: str = NO_HEADER) -> None:
        super().__init__(reason)
        self.columns = columns
        self.signature = key


def read(data: bytes | str, how: ReadAs | None = None) -> Understood:
    """Understand an upload (bytes) or pasted text (str).

    Raises NotATable when the whole file is refused, NoHeader (a NotATable) when the columns
    have to be mapped by hand.
    """
    how = how or ReadAs()
    text = plain_text(data)
    cut = records(text.lines, delimiter=how.delimiter)
    if not cut.records:
        raise NotATable("The file holds no rows, only empty lines.")
    head = _by_hand(cut.records, how.columns) if how.columns else _found(cut.records, how)
    if head is None:
        if is_grid(cut.records):
            return _understood_grid(cut, how, text.encoding)
        raise NoHeader(_shown_columns(cut.records), mapping_key(cut.records))
    return _understood_table(cut, head, _with_depth_above(how, head), text.encoding)


@dataclass(frozen=True)
class _Head:
    """The header and what stands around it."""

    headings: tuple[str, ...]
    columns: tuple[Meaning, ...]
    rows: tuple[int, ...]
    above: tuple[Record, ...]
    data: tuple[Record, ...]
    header: Record | None = None


# --- finding the header ---------------------------------------------------------------


def _found(found: Sequence[Record], how: ReadAs) -> _Head | None:
    """The header by its words; None where no line says what the columns are."""
    for index, record in enumerate(found[:_HEADER_WITHIN]):
        columns = _columns(record.cells)
        if _is_header(columns, record.cells, how):
            return _head(found, index, columns)
    return None


def _columns(cells: Sequence[str]) -> tuple[Meaning, ...]:
    known = meanings(cells)
    while known and not cells[len(known) - 1].strip():
        known.pop()  # trailing delimiters make no column
    return tuple(known)


def _is_header(columns: tuple[Meaning, ...], cells: Sequence[str], how: ReadAs) -> bool:
    roles = {column.role for column in columns}
    places = {"x": how.x_cm, "y": how.y_cm, "depth": how.depth_cm}
    given = {role for role, value in places.items() if value is not None}
    if {"x", "y"} <= roles | given and not roles & {"ppfd", "lux", "depth"}:
        return bool(roles & {"x", "y"}) and bool(wide_depths(cells))
    if not roles & {"ppfd", "lux"}:
        return False
    return bool(roles & {*_PLACES, "time", "date"}) or (len(given) == 3)


def _head(found: Sequence[Record], index: int, columns: tuple[Meaning, ...]) -> _Head:
    header = found[index]
    after = index + 1
    rows = [header.row]
    if after < len(found) and _is_unit_row(found[after].cells):
        columns = _with_units(columns, found[after].cells)
        rows.append(found[after].row)
        after += 1
    return _Head(
        headings=tuple(header.cells[: len(columns)]),
        columns=columns,
        rows=tuple(rows),
        above=tuple(found[:index]),
        data=tuple(found[after:]),
        header=header,
    )


def _is_unit_row(cells: Sequence[str]) -> bool:
    filled = [cell.strip(" ()[]") for cell in cells if cell.strip()]
    return bool(filled) and all(length_unit(c) or light_unit(c) or c == "-" for c in filled)


def _with_units(columns: tuple[Meaning, ...], cells: Sequence[str]) -> tuple[Meaning, ...]:
    units = [cell.strip(" ()[]") for cell in cells] + [""] * len(columns)
    return tuple(
        Meaning(column.role, length_unit(unit) or light_unit(unit) or column.unit, column.series)
        if column.role
        else column
        for column, unit in zip(columns, units, strict=False)
    )


def _by_hand(found: Sequence[Record], columns: tuple[Meaning, ...]) -> _Head:
    """Mapped by hand: rows before the first with a number of light are titles and headings."""
    light = light_columns(columns)
    if not light:
        raise NotATable("Say which column holds the light (PPFD or lux).")
    first = next((i for i, record in enumerate(found) if _has_number(record, light[0])), 0)
    header = found[first - 1] if first else None
    return _Head(
        headings=tuple(header.cells) if header else (),
        columns=columns,
        rows=(header.row,) if header else (),
        above=tuple(found[: max(first - 1, 0)]),
        data=tuple(found[first:]),
        header=header,
    )


def _has_number(record: Record, index: int) -> bool:
    if index >= len(record.cells):
        return False
    try:
        number(record.cells[index], ".")
    except NotANumber:
        return False
    return True


def _shown_columns(found: Sequence[Record]) -> tuple[Column, ...]:
    """Columns as a mapping form shows them: the line over the first row of numbers, and that
    row as the example."""
    first = next((i for i, record in enumerate(found[:_HEADER_WITHIN]) if _numbers(record) > 1), 1)
    sample = found[min(first, len(found) - 1)].cells
    top = found[first - 1].cells if first else []
    known = meanings(top)
    return tuple(
        Column(
            heading=shown(top[i]) if i < len(top) else "",
            meaning=known[i] if i < len(known) else UNKNOWN,
            example=shown(sample[i]) if i < len(sample) else "",
        )
        for i in range(max(len(_columns(top)), len(_columns(sample)), 1))
    )


def _numbers(record: Record) -> int:
    return sum(_has_number(record, i) for i in range(len(record.cells)))


def mapping_key(found: Sequence[Record]) -> str:
    """What a mapping by hand is remembered by: the headings, or for bare numbers their count."""
    for record in found[:_HEADER_WITHIN]:
        if any(_has_number(record, i) for i in range(len(record.cells))):
            break
        if len(_columns(record.cells)) > 1:
            return signature(record.cells)
    return f"{len(_columns(found[0].cells))} columns without headings"


def _with_depth_above(how: ReadAs, head: _Head) -> ReadAs:
    """A title such as "Depth: 20 cm" gives the depth of a table that has no such column."""
    if how.depth_cm is not None or any(column.role == "depth" for column in head.columns):
        return how
    for record in head.above:
        phrase = depth_phrase(record.cells)
        if phrase is not None:
            cells = Cells(how, how.decimal or ".")
            try:
                depth = cells.length_cm("depth", phrase.text, phrase.unit)
            except NotANumber:
                return how
            return ReadAs(**{**vars(how), "depth_cm": depth})
    return how


# --- reading --------------------------------------------------------------------------


def _understood_table(cut: Records, head: _Head, how: ReadAs, encoding: str) -> Understood:
    roles = {column.role for column in head.columns}
    wide = {} if roles & {"ppfd", "lux"} else wide_depths(head.headings)
    timed = bool(roles & {"time", "date"})
    log = timed and not {"x", "y"} <= roles
    key = mapping_key(cut.records)
    _refuse_missing_columns(roles, head, how, key, log=log, wide=bool(wide))
    decimal = how.decimal or _decimal(head, wide, how, cut.delimiter)
    cells = Cells(how, decimal)
    data, again = _without_repeated_header(head)
    _refuse_too_many(len(data))
    log_rows: list[LogRow] = []
    rows: list[RowRead] = []
    if log:
        log_rows, refused = read_log(data, head.columns, cells)
    elif wide and head.header is not None:
        rows, refused = read_wide(data, head.columns, wide, cells, head.header)
    else:
        rows, refused = read_points(data, head.columns, cells)
    above, misplaced = _titles(head.above)
    return Understood(
        kind="log" if log else "points",
        encoding=encoding,
        delimiter=cut.delimiter,
        decimal=decimal,
        columns=_columns_used(head),
        header_rows=head.rows,
        rows=tuple(rows),
        log=tuple(log_rows),
        refused=_in_order(cut.refused, again, refused, misplaced),
        above=above,
        blank_lines=cut.blank_lines,
        lines_in=cut.lines_in,
        signature=key,
        remarks=(
            *_remarks(head, cut.delimiter, how, decimal),
            *(() if log else dates_unused(data, head.columns, head.headings, how)),
        ),
    )


def _understood_grid(cut: Records, how: ReadAs, encoding: str) -> Understood:
    decimal = how.decimal or decimal_mark(
        (cell for record in cut.records for cell in record.cells),
        thousands_absurd=(r.cells[0] for r in cut.records if how.length_unit != "mm"),
        delimiter=cut.delimiter,
    )
    grid = read_grid(cut.records, Cells(how, decimal))
    _refuse_too_many(len(grid.rows))
    return Understood(
        kind="grid",
        encoding=encoding,
        delimiter=cut.delimiter,
        decimal=decimal,
        columns=(),
        header_rows=tuple(grid.headers),
        rows=tuple(grid.rows),
        log=(),
        refused=_in_order(cut.refused, grid.refused),
        above=tuple(grid.above),
        blank_lines=cut.blank_lines,
        lines_in=cut.lines_in,
        signature="grid",
        remarks=(_TURNED if grid.turned else _UPRIGHT,),
    )


def _in_order(*lists: Sequence[Refusal]) -> tuple[Refusal, ...]:
    return tuple(sorted((one for some in lists for one in some), key=lambda one: one.row))


def _refuse_too_many(rows: int) -> None:
    if rows > MAX_ROWS:
        raise NotATable(
            f"The file has {rows:,} rows; the limit is {MAX_ROWS:,}. Send it in parts.",
            too_large=True,
        )


def _refuse_missing_columns(
    roles: Set[object], head: _Head, how: ReadAs, key: str, *, log: bool, wide: bool
) -> None:
    if log:
        return
    given = {"x": how.x_cm, "y": how.y_cm, "depth": 0.0 if wide else how.depth_cm}
    missing = [role for role in _PLACES if role not in roles and given[role] is None]
    if missing:
        raise NoHeader(
            tuple(_columns_used(head)),
            key,
            f"No column gives {_listed(missing)}. Name it in the heading, or give one value for "
            "the whole file.",
        )


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _decimal(head: _Head, wide: Iterable[int], how: ReadAs, delimiter: str) -> DecimalMark | None:
    """The decimal mark from every column of numbers; places in cm, m or inches say most."""
    numeric = [
        i for i, column in enumerate(head.columns) if column.role in (*_PLACES, "ppfd", "lux")
    ] + list(wide)
    places = [
        i
        for i, column in enumerate(head.columns)
        if column.role in _PLACES and (column.unit or how.length_unit) != "mm"
    ]
    return decimal_mark(
        (r.cells[i] for r in head.data for i in numeric if i < len(r.cells)),
        thousands_absurd=(r.cells[i] for r in head.data for i in places if i < len(r.cells)),
        delimiter=delimiter,
    )


def _without_repeated_header(head: _Head) -> tuple[list[Record], list[Refusal]]:
    """Files put together from several carry the header again; it is refused by name."""
    if head.header is None:
        return list(head.data), []
    again = [record for record in head.data if record.cells == head.header.cells]
    rows = [record for record in head.data if record.cells != head.header.cells] if again else []
    return (rows if again else list(head.data)), [
        refusal(record, "the header line again") for record in again
    ]


def _titles(above: Sequence[Record]) -> tuple[tuple[tuple[int, str], ...], list[Refusal]]:
    """Lines over the header are titles, unless they look like readings that lost their place."""
    titles: list[tuple[int, str]] = []
    misplaced: list[Refusal] = []
    for record in above:
        if _numbers(record) >= 3:
            misplaced.append(refusal(record, "stands above the header line"))
        else:
            titles.append((record.row, shown(" | ".join(c for c in record.cells if c), 200)))
    return tuple(titles), misplaced


def _columns_used(head: _Head) -> tuple[Column, ...]:
    light = light_columns(head.columns)
    first = head.data[0].cells if head.data else []
    seen: set[str] = set()
    columns = []
    for index, column in enumerate(head.columns):
        used = column
        if column.role in ("ppfd", "lux"):
            used = column if index in light else UNKNOWN
        elif column.role in seen:
            used = UNKNOWN
        seen.add(column.role or "")
        columns.append(
            Column(
                heading=shown(head.headings[index]) if index < len(head.headings) else "",
                meaning=used,
                example=shown(first[index]) if index < len(first) else "",
            )
        )
    return tuple(columns)


def _remarks(
    head: _Head, delimiter: str, how: ReadAs, decimal: DecimalMark | None
) -> tuple[str, ...]:
    """What a careful reader would ask about."""
    found = []
    unnamed = [c.role for c in head.columns if c.role in _PLACES and not c.unit]
    if unnamed:
        found.append(f"{_listed(unnamed)}: no unit in the heading, read as {how.length_unit}.")
    if decimal is None:
        found.append("The file uses both decimal comma and decimal point.")
    notes = [i for i, column in enumerate(head.columns) if column.role == "note"][:1]
    if delimiter == "," and any(
        sum(_has_number(r, i) for r in head.data[:50]) * 2 > min(len(head.data), 50) for i in notes
    ):
        found.append(
            "The notes are mostly numbers. If the file uses decimal commas, its columns have to "
            "be parted by semicolons or tabs."
        )
    return tuple(found)
