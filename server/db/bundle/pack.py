"""Writing a tank's bundle."""

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Mapping, Sequence

from sqlalchemy import select
from sqlmodel import Session

from server.db.bundle import cells, contents
from server.db.bundle.contents import Travelling

Row = Mapping[str, object]
_STAMP = (1980, 1, 1, 0, 0, 0)  # the same content packs to the same bytes


def pack(db: Session, tank_id: int) -> bytes:
    """The tank with its setups, lamps, animals, sessions and readings as a zip.

    Raises LookupError when there is no such tank.
    """
    rows = gather(db, tank_id)
    if not rows["tank"]:
        raise LookupError(tank_id)
    numbers = {
        name: {row["id"]: number for number, row in enumerate(found, start=1)}
        for name, found in rows.items()
        if contents.numbered(name)
    }
    keeper = rows["tank"][0]["owner_id"]
    files: dict[str, bytes] = {}
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bundle:
        _put(bundle, "metadata.json", _description())
        for name in contents.TABLES:
            text = _table_text(name, rows[name], numbers, keeper, files)
            _put(bundle, f"{name}.csv", text.encode())
        for file_name, content in sorted(files.items()):
            _put(bundle, file_name, content)
    return packed.getvalue()


def gather(db: Session, tank_id: int) -> dict[str, list[Row]]:
    """Every row that belongs to a tank, by table, oldest first."""
    found: dict[str, list[Row]] = {}
    for name in contents.TABLES:
        if name not in contents.SHELF:
            found[name] = _rows(db, name, found, tank_id)
    models = _models_named(found)
    found["lampmodel"] = _selected(db, "lampmodel", "id", models)
    found["lampchannel"] = _selected(db, "lampchannel", "lamp_model_id", models)
    return found


def _models_named(found: Mapping[str, list[Row]]) -> list[object]:
    """Every lamp model that some row of the tank refers to."""
    named: set[object] = set()
    for name, rows in found.items():
        for column in contents.columns(name):
            if column.refers_to == "lampmodel":
                named |= {row[column.name] for row in rows}
    return sorted(named - {None}, key=str)


def _rows(db: Session, name: str, found: dict[str, list[Row]], tank_id: int) -> list[Row]:
    owner = contents.owners(name)
    if owner is None:
        return _selected(db, "tank", "id", [tank_id])
    column, parent = owner
    return _selected(db, name, column, [row["id"] for row in found[parent]])


def _selected(db: Session, name: str, column: str, values: Sequence[object]) -> list[Row]:
    table = contents.table(name)
    order = list(table.primary_key.columns)
    rows: list[Row] = []
    for start in range(0, len(values), 500):  # below SQLite's limit of bound values
        part = values[start : start + 500]
        asked = select(table).where(table.columns[column].in_(part)).order_by(*order)
        rows += [dict(row._mapping) for row in db.connection().execute(asked)]
    names = [column.name for column in order]
    return sorted(rows, key=lambda row: _place(row, names))


def _place(row: Row, names: Sequence[str]) -> tuple[tuple[int, str], ...]:
    """Where a row comes by its key: numbers by size, text by letters, as in any database."""
    return tuple(
        (key, "") if isinstance(key, int) else (0, str(key)) for key in (row[n] for n in names)
    )


def _table_text(
    name: str,
    rows: Sequence[Row],
    numbers: Mapping[str, Mapping[object, int]],
    keeper: object,
    files: dict[str, bytes],
) -> str:
    columns = contents.columns(name)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([column.name for column in columns])
    for row in rows:
        writer.writerow([_cell(name, column, row, numbers, keeper, files) for column in columns])
    return text.getvalue()


def _cell(
    name: str,
    column: Travelling,
    row: Row,
    numbers: Mapping[str, Mapping[object, int]],
    keeper: object,
    files: dict[str, bytes],
) -> str:
    value = row[column.name]
    if column.person:
        return "keeper" if value is not None and value == keeper else ""
    if column.name == "id":
        return str(numbers[name][value])
    if column.refers_to and value is not None:
        return str(numbers[column.refers_to][value])
    if isinstance(value, bytes):
        return _added(files, value)
    if value and (name, column.name) in contents.EMBEDDED:
        key, target = contents.EMBEDDED[name, column.name]
        value = cells.renumbered(str(value), key, numbers[target])
    return cells.write(column.column, value)


def _added(files: dict[str, bytes], content: bytes) -> str:
    """Puts a file in and gives its name; the same content twice is two files, one for each row."""
    stem = f"files/{hashlib.sha256(content).hexdigest()[:32]}"
    name, copies = f"{stem}.bin", 1
    while name in files:
        copies += 1
        name = f"{stem}-{copies}.bin"
    files[name] = content
    return name


def _description() -> bytes:
    """What is in the bundle, in the terms of CSV on the Web (W3C Recommendation, 2015)."""
    tables = [
        {
            "url": f"{name}.csv",
            "tableSchema": {
                "primaryKey": "id",
                "columns": [_column_words(column) for column in contents.columns(name)],
            },
        }
        for name in contents.TABLES
    ]
    told = {
        "@context": "http://www.w3.org/ns/csvw",
        "dc:title": "A reef tank: its light, its animals and its readings",
        "dc:format": f"{contents.FORMAT}/{contents.VERSION}",
        "dc:description": (
            "Lengths in cm, x from the left wall, y from the front wall, depth downward from the "
            "water surface. PPFD in µmol/(m²·s), photon flux in µmol/s. Moments in UTC. Text "
            "cells that begin like a formula carry an apostrophe in front. Empty cells of columns "
            "that are not required hold nothing. A person is 'keeper' or not named."
        ),
        "tables": tables,
    }
    return json.dumps(told, ensure_ascii=False, indent=1).encode()


def _column_words(column: Travelling) -> dict[str, object]:
    told: dict[str, object] = {
        "name": column.name,
        "datatype": "string" if column.person else cells.datatype(column.column),
        "required": not column.column.nullable and not column.person,
    }
    if column.unit:
        told["unit"] = column.unit
    if column.refers_to:
        told["dc:relation"] = f"{column.refers_to}.csv#id"
    return told


def _put(bundle: zipfile.ZipFile, name: str, content: bytes) -> None:
    entry = zipfile.ZipInfo(name, date_time=_STAMP)
    entry.compress_type = zipfile.ZIP_DEFLATED
    bundle.writestr(entry, content)
