"""A whole club from one database into another, whichever kind either is: table by table.

It carries clubs between SQLite and PostgreSQL, and makes and reads backups of a PostgreSQL club,
so that one kind of backup file serves both.
"""

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select, text, update

from server.db.engine import Database
from server.db.unwilling import Unwilling
from server.models import SQLModel

_AT_ONCE = 2_000
_OURS = 5_047_302  # among the server's advisory locks; migrations have the number before


def copy_all(source: Database, target: Database, *, replace: bool = False) -> int:
    """Every row of every table, in one transaction on either side; gives how many rows.

    Both must be at the newest schema. Raises Unwilling when the target holds a club, unless it
    is to be replaced, and when what arrived is not what was sent.
    """
    with (
        source.engine.connect() as sending,
        target.engine.execution_options(write=True).connect() as taking,
    ):
        if not source.embedded:
            sending = sending.execution_options(isolation_level="REPEATABLE READ")
        with sending.begin(), taking.begin():
            if not target.embedded:
                taking.exec_driver_sql("SET LOCAL statement_timeout = 0")
            _make_room(taking, replace=replace)
            rows = sum(_copy(sending, taking, table) for table in _tables())
            for table in _tables():
                if digest(sending, table) != digest(taking, table):
                    raise Unwilling(f"Table {table.name} did not arrive as it was sent.")
    return rows


def digest(connection: Connection, table: Table) -> str:
    """Of all rows of a table in the order of their keys, the same in every kind of database."""
    found = hashlib.sha256()
    for part in _parts(connection, table):
        for row in part:
            found.update(repr([_plain(value) for value in row.values()]).encode())
    return found.hexdigest()


def alone(connection: Connection) -> bool:
    """Takes the database's lock for itself, until the connection ends; False while it is served."""
    asked = text("SELECT pg_try_advisory_lock(:number)")
    return bool(connection.execute(asked, {"number": _OURS}).scalar())


def serving(connection: Connection) -> bool:
    """Shares the database's lock with other servers; False while somebody replaces the club."""
    asked = text("SELECT pg_try_advisory_lock_shared(:number)")
    return bool(connection.execute(asked, {"number": _OURS}).scalar())


def _tables() -> Sequence[Table]:
    """Those that others refer to before those that do."""
    return SQLModel.metadata.sorted_tables


def _make_room(taking: Connection, *, replace: bool) -> None:
    for table in reversed(_tables()):
        if replace:
            for column in _to_itself(table):
                taking.execute(update(table).values({column: None}))
            taking.execute(table.delete())
        elif taking.execute(select(func.count()).select_from(table)).scalar():
            raise Unwilling("There is a club in the other database already; choose an empty one.")


def _copy(sending: Connection, taking: Connection, table: Table) -> int:
    own = _to_itself(table)
    count = 0
    later: list[dict[str, Any]] = []
    for part in _parts(sending, table):
        # A row may name another of its table that comes later: such columns follow at the end.
        taking.execute(insert(table), [row | dict.fromkeys(own) for row in part])
        later += [row for row in part if any(row[column] is not None for column in own)]
        count += len(part)
    for row in later:
        here = [column == row[column.name] for column in table.primary_key]
        taking.execute(update(table).where(*here).values({name: row[name] for name in own}))
    _count_on(taking, table)
    return count


def _count_on(taking: Connection, table: Table) -> None:
    """PostgreSQL numbers new rows from a counter of its own."""
    if taking.dialect.name != "postgresql" or "id" not in table.columns:
        return
    top = taking.execute(select(func.max(table.columns["id"]))).scalar()
    counter = func.pg_get_serial_sequence(f'"{table.name}"', "id")
    if top is not None and taking.execute(select(counter)).scalar():
        taking.execute(select(func.setval(counter, top)))


def _to_itself(table: Table) -> list[str]:
    return [
        column.name
        for column in table.columns
        for key in column.foreign_keys
        if key.column.table is table
    ]


def _parts(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    found = connection.execute(select(table).order_by(*table.primary_key))
    for part in found.mappings().partitions(_AT_ONCE):
        yield [dict(row) for row in part]


def _plain(value: object) -> object:
    return bytes(value) if isinstance(value, memoryview) else value
