"""Reading a tank's bundle into a club: all of it or nothing."""

import csv
import io
import json
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import IO

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.db.bundle import cells, contents, judge
from server.db.bundle.contents import Travelling

MOST_BYTES = 64 * 2**20
MOST_ENTRIES = 2_000
MOST_ROWS = 200_000
MOST_LINE = 1 << 20
MOST_LAMPS = 60
MOST_CHANNELS = 40
_AT_ONCE = 2_000

Values = dict[str, object]
Read = Mapping[str, list[Values]]
Numbers = dict[str, dict[object, int]]


class Refused(ValueError):
    """The bundle cannot be taken; the words say where and why."""


def read(raw: bytes) -> Read:
    """The rows of a bundle as values, not yet in any database. Raises Refused."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as bundle:
            return _read(bundle)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        OSError,
    ) as error:
        raise Refused("This is not a whole zip file.") from error


def put_in(db: Session, found: Read, *, keeper_id: int) -> int:
    """Writes a bundle's rows for a member; gives the new tank's id. Raises Refused."""
    numbers: Numbers = {name: {} for name in contents.TABLES}
    try:
        for model in found["lampmodel"]:
            _put_model(db, model, found["lampchannel"], numbers)
        for name in contents.TABLES:
            if name not in contents.SHELF:
                _put_table(db, name, found[name], numbers, keeper_id)
        tank_id = next(iter(numbers["tank"].values()))
        judge.judge(db, tank_id)
    except judge.Senseless as error:
        raise Refused(f"The tank does not make sense: {error}.") from error
    except IntegrityError as error:
        raise Refused("Some values in the bundle contradict each other.") from error
    return tank_id


@dataclass
class _Opened:
    """A bundle being read, and what of its bounds is used up: nothing is held before it fits."""

    bundle: zipfile.ZipFile
    entries: Mapping[str, zipfile.ZipInfo]
    rows: int = 0
    files: set[str] = field(default_factory=set)

    def count_row(self) -> None:
        self.rows += 1
        if self.rows > MOST_ROWS:
            raise Refused(f"The bundle holds more than {MOST_ROWS} rows.")

    def file(self, name: str) -> bytes | None:
        """The content of a file that a row names; each belongs to one row."""
        if name not in self.entries or not name.startswith("files/") or name in self.files:
            return None
        self.files.add(name)
        return self.bundle.read(name)


def _read(bundle: zipfile.ZipFile) -> Read:
    entries = {entry.filename: entry for entry in bundle.infolist()}
    if len(entries) > MOST_ENTRIES or sum(e.file_size for e in entries.values()) > MOST_BYTES:
        raise Refused("The bundle is too large.")
    _check_format(bundle, entries)
    opened = _Opened(bundle, entries)
    found = {name: _table(opened, name) for name in contents.TABLES}
    if len(found["tank"]) != 1:
        raise Refused("tank.csv must hold exactly one tank.")
    _check_shelf(found)
    return found


def _check_shelf(found: Read) -> None:
    """What goes onto everybody's shelf: only lamps of this tank, and not hundreds."""
    if len(found["lampmodel"]) > MOST_LAMPS:
        raise Refused(f"The bundle holds more than {MOST_LAMPS} lamp models.")
    named = {
        row[column.name]
        for name in contents.TABLES
        if name not in contents.SHELF
        for column in contents.columns(name)
        if column.refers_to == "lampmodel"
        for row in found[name]
    }
    if not {model["id"] for model in found["lampmodel"]} <= named:
        raise Refused("lampmodel.csv holds a lamp that the tank does not use.")
    counted = Counter(channel["lamp_model_id"] for channel in found["lampchannel"])
    if max(counted.values(), default=0) > MOST_CHANNELS:
        raise Refused(f"A lamp model has more than {MOST_CHANNELS} channels.")


def _check_format(bundle: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo]) -> None:
    if "metadata.json" not in entries:
        raise Refused("There is no metadata.json in it: not a bundle of a tank.")
    try:
        told = json.loads(bundle.read("metadata.json"))["dc:format"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise Refused("Its metadata.json cannot be read.") from error
    known = f"{contents.FORMAT}/{contents.VERSION}"
    if told != known:
        raise Refused(f"Its format is {ascii(told)[:60]}; this version reads {known}.")


def _table(opened: _Opened, name: str) -> list[Values]:
    file = f"{name}.csv"
    if file not in opened.entries and name in contents.LATER:
        return []
    if file not in opened.entries:
        raise Refused(f"There is no {file} in it.")
    try:
        with opened.bundle.open(file) as raw:
            return _rows(opened, name, csv.reader(_lines(raw), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise Refused(f"{file} is not readable CSV in UTF-8.") from error


def _lines(raw: IO[bytes]) -> Iterator[str]:
    """Lines as they are needed; one alone could otherwise fill the memory."""
    text = io.TextIOWrapper(raw, encoding="utf-8", newline="")
    while line := text.readline(MOST_LINE):
        if len(line) == MOST_LINE:
            raise csv.Error("a line without an end")
        yield line


def _rows(opened: _Opened, name: str, lines: Iterator[list[str]]) -> list[Values]:
    columns = contents.columns(name)
    wanted = [column.name for column in columns]
    if next(lines, None) != wanted:
        raise Refused(f"The first line of {name}.csv must be {','.join(wanted)}.")
    readers = [str if column.person else cells.reader(column.column) for column in columns]
    found = []
    for number, line in enumerate(lines, start=2):
        opened.count_row()
        found.append(_row(opened, columns, readers, line, where=f"{name}.csv, row {number}"))
    return found


def _row(
    opened: _Opened,
    columns: tuple[Travelling, ...],
    readers: Sequence[Callable[[str], object]],
    line: list[str],
    *,
    where: str,
) -> Values:
    if len(line) != len(columns):
        raise Refused(f"{where} has {len(line)} cells instead of {len(columns)}.")
    values: Values = {}
    for column, read, text in zip(columns, readers, line, strict=True):
        try:
            value = read(text)
        except cells.Unreadable as error:
            raise Refused(f"{where}: {column.name} {error}.") from error
        if value is not None and column.is_file:
            value = opened.file(str(value))
            if value is None:
                raise Refused(f"{where}: {column.name} names a file that is not in the bundle.")
        values[column.name] = value
    return values


def _put_table(
    db: Session, name: str, rows: list[Values], numbers: Numbers, keeper_id: int
) -> None:
    """All rows of a table; their new numbers are kept where a later table may refer to them."""
    table = contents.table(name)
    for start in range(0, len(rows), _AT_ONCE):
        part = rows[start : start + _AT_ONCE]
        values = [_values(name, row, numbers, keeper_id) for row in part]
        if name not in contents.referred():
            db.connection().execute(insert(table), values)
            continue
        made = db.connection().execute(
            insert(table).returning(table.columns["id"], sort_by_parameter_order=True), values
        )
        for row, number in zip(part, made.scalars(), strict=True):
            numbers[name][row["id"]] = int(number)


def _values(name: str, row: Values, numbers: Numbers, keeper_id: int) -> Values:
    values: Values = {}
    for column in contents.columns(name):
        value = row[column.name]
        if column.name == "id":
            continue
        if column.person:
            value = keeper_id if value == "keeper" else None
        elif column.refers_to and value is not None:
            if value not in numbers[column.refers_to]:
                raise Refused(f"{name}.csv: {column.name} leads nowhere.")
            value = numbers[column.refers_to][value]
        elif value and (name, column.name) in contents.EMBEDDED:
            value = _renumbered(name, column.name, str(value), numbers)
        values[column.name] = value
    if name == "tank":
        values["owner_id"] = keeper_id
    return values


def _renumbered(name: str, column: str, text: str, numbers: Numbers) -> str:
    key, target = contents.EMBEDDED[name, column]
    try:
        return cells.renumbered(text, key, numbers[target])
    except (ValueError, TypeError, RecursionError) as error:
        raise Refused(f"{name}.csv: {column} must be a JSON list of objects.") from error


def _put_model(db: Session, model: Values, all_channels: list[Values], numbers: Numbers) -> None:
    """Uses the shelf's model with the very same figures and channels, or adds this one."""
    figures = {key: value for key, value in model.items() if key != "id"}
    channels = [
        {key: value for key, value in channel.items() if key not in ("id", "lamp_model_id")}
        for channel in all_channels
        if channel["lamp_model_id"] == model["id"]
    ]
    number = _same_model(db, figures, channels)
    if number is None:
        number = _inserted(db, "lampmodel", figures | {"created_at": datetime.now(UTC)})
        for channel in channels:
            _inserted(db, "lampchannel", channel | {"lamp_model_id": number})
    numbers["lampmodel"][model["id"]] = number


def _same_model(db: Session, figures: Values, channels: list[Values]) -> int | None:
    table = contents.table("lampmodel")
    same = select(table.columns["id"]).where(
        *(table.columns[key] == value for key, value in figures.items() if value is not None),
        *(table.columns[key].is_(None) for key, value in figures.items() if value is None),
        table.columns["merged_into_id"].is_(None),
    )
    for number in db.connection().execute(same).scalars().all():
        if _channels_of(db, number) == channels:
            return int(number)
    return None


def _channels_of(db: Session, model_id: int) -> list[Values]:
    table = contents.table("lampchannel")
    asked = select(table).where(table.columns["lamp_model_id"] == model_id)
    return [
        {key: value for key, value in row._mapping.items() if key not in ("id", "lamp_model_id")}
        for row in db.connection().execute(asked.order_by(table.columns["id"]))
    ]


def _inserted(db: Session, name: str, values: Values) -> int:
    made = db.connection().execute(insert(contents.table(name)).values(**values))
    key = made.inserted_primary_key
    assert key is not None
    return int(key[0])
