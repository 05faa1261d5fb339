"""How alembic reaches the database: over the connection it is handed, in one transaction."""

from alembic import context
from sqlalchemy import Connection

from server.models import SQLModel


def run(connection: Connection) -> None:
    embedded = connection.dialect.name == "sqlite"
    if embedded:  # a table rebuilt in batch mode must not pull its children along
        _raw(connection, "PRAGMA foreign_keys=OFF")
    connection = connection.execution_options(write=True)
    context.configure(
        connection=connection,
        target_metadata=SQLModel.metadata,
        render_as_batch=True,
        transaction_per_migration=False,
        compare_type=True,
    )
    with context.begin_transaction():
        context.run_migrations()
        if embedded:
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RuntimeError(f"the migration would leave {len(broken)} broken references")
    if connection.in_transaction():
        connection.commit()
    if embedded:
        _raw(connection, "PRAGMA foreign_keys=ON")


def _raw(connection: Connection, statement: str) -> None:
    driver = connection.connection.driver_connection
    assert driver is not None
    driver.execute(statement)


run(context.config.attributes["connection"])
