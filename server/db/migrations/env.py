"""How alembic reaches the database: over the connection it is handed, in one transaction."""

from alembic import context
from sqlalchemy import Connection

from server.db.unwilling import Unwilling
from server.models import SQLModel

_ONE_AT_A_TIME = 5_047_301  # our number among the server's advisory locks


def run(connection: Connection) -> None:
    embedded = connection.dialect.name == "sqlite"
    if embedded:  # a table rebuilt in batch mode must not pull its children along
        _raw(connection, "PRAGMA foreign_keys=OFF")
    try:
        _migrate(connection.execution_options(write=True), embedded=embedded)
    finally:
        if embedded:
            _raw(connection, "PRAGMA foreign_keys=ON")


def _migrate(connection: Connection, *, embedded: bool) -> None:
    with connection.begin():  # ours, so that the check below comes before its end
        if not embedded:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ONE_AT_A_TIME})")
            connection.exec_driver_sql("SET LOCAL statement_timeout = 0")
        context.configure(
            connection=connection,
            target_metadata=SQLModel.metadata,
            render_as_batch=True,
            transactional_ddl=True,  # alembic thinks SQLite cannot; with our BEGIN it can
            compare_type=True,
        )
        context.run_migrations()
        if embedded:
            _refuse_broken(connection)


def _refuse_broken(connection: Connection) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        tables = ", ".join(sorted({str(row[0]) for row in broken}))
        raise Unwilling(
            f"{len(broken)} references of the database lead nowhere (in {tables}), so it was not "
            "brought to this version; it is as it was. Restore the newest good backup, or go on "
            "with the version before."
        )


def _raw(connection: Connection, statement: str) -> None:
    driver = connection.connection.driver_connection
    assert driver is not None
    driver.execute(statement)


run(context.config.attributes["connection"])
