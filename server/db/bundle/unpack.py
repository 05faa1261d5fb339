"""Reading a tank's bundle into a club: all of it or nothing."""

import csv
import io
import json
import zipfile
import zlib
from collections.abc import Mapping
from datetime import UTC, datetime

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.db.bundle import cells, contents, judge
from server.db.bundle.contents import Travelling

MOST_BYTES = 64 * 2**20
MOST_ENTRIES = 2_000
MOST_ROWS = 300_000

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
                for row in found[name]:
                    made = _put_row(db, name, row, numbers, keeper_id)
                    if made is not None:
                        numbers[name][row["id"]] = made
        tank_id = next(iter(numbers["tank"].values()))
        judge.judge(db, tank_id)
    except judge.Senseless as error:
        raise Refused(f"The tank does not make sense: {error}.") from error
    except IntegrityError as error:
        raise Refused("Some values in the bundle contradict each other.") from error
    return tank_id


def _read(bundle: zipfile.ZipFile) -> Read:
    entries = {entry.filename: entry for entry in bundle.infolist()}
    if len(entries) > MOST_ENTRIES or sum(e.file_size for e in entries.values()) > MOST_BYTES:
        raise Refused("The bundle is too large.")
    _check_format(bundle, entries)
    found = {name: _table(bundle, entries, name) for name in contents.TABLES}
    if len(found["tank"]) != 1:
        raise Refused("tank.csv must hold exactly one tank.")
    if sum(map(len, found.values())) > MOST_ROWS:
        raise Refused(f"The bundle holds more than {MOST_ROWS} rows.")
    return found


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


def _table(
    bundle: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo], name: str
) -> list[Values]:
    file = f"{name}.csv"
    if file not in entries:
        raise Refused(f"There is no {file} in it.")
    try:
        text = bundle.read(file).decode("utf-8")
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise Refused(f"{file} is not readable CSV in UTF-8.") from error
    columns = contents.columns(name)
    wanted = [column.name for column in columns]
    if not lines or lines[0] != wanted:
        raise Refused(f"The first line of {file} must be {','.join(wanted)}.")
    return [
        _row(bundle, entries, columns, line, where=f"{file}, row {number}")
        for number, line in enumerate(lines[1:], start=2)
    ]


def _row(
    bundle: zipfile.ZipFile,
    entries: Mapping[str, zipfile.ZipInfo],
    columns: tuple[Travelling, ...],
    line: list[str],
    *,
    where: str,
) -> Values:
    if len(line) != len(columns):
        raise Refused(f"{where} has {len(line)} cells instead of {len(columns)}.")
    values: Values = {}
    for column, text in zip(columns, line, strict=True):
        try:
            value = text if column.person else cells.read(column.column, text)
        except cells.Unreadable as error:
            raise Refused(f"{where}: {column.name} {error}.") from error
        if not column.person and cells.datatype(column.column) == "anyURI" and value is not None:
            if value not in entries or not str(value).startswith("files/"):
                raise Refused(f"{where}: {column.name} names a file that is not in the bundle.")
            value = bundle.read(str(value))
        values[column.name] = value
    return values


def _put_row(db: Session, name: str, row: Values, numbers: Numbers, keeper_id: int) -> int | None:
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
    if contents.numbered(name):
        return _inserted(db, name, values)
    db.connection().execute(insert(contents.table(name)).values(**values))
    return None


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
