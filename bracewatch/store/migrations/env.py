"""Runs the migrations on the connection the store hands over."""

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection

from bracewatch.store.tables import Typed, UtcDateTime, metadata


def render_item(kind: str, thing: Any, autogen: AutogenContext) -> str | Literal[False]:
    """Our own column type by its own name; everything else as Alembic writes it."""
    if kind == "type" and isinstance(thing, UtcDateTime):
        autogen.imports.add("from bracewatch.store.tables import UtcDateTime")
        return "UtcDateTime()"
    if kind == "type" and isinstance(thing, Typed):
        return "sa.Text()"
    return False


def run(connection: Connection) -> None:
    sqlite = connection.dialect.name == "sqlite"
    if sqlite:
        # Batch mode copies a table and drops the old one: with foreign keys on, that deletes the child rows.
        connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
        connection.commit()
        connection = connection.execution_options(writes=True)
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=sqlite,
        render_item=render_item,
        compare_type=True,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()
        if sqlite:
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RuntimeError(f"the migration left {len(broken)} rows that point at nothing; nothing was changed")
    if sqlite:
        connection.exec_driver_sql("PRAGMA foreign_keys = ON")
        connection.commit()


run(context.config.attributes["connection"])
