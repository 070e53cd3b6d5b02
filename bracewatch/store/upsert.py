"""Insert unless it is there: one statement, on both databases."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite


def insert_if_new(connection: Connection, table: Table, unique_column: str, **values: Any) -> int | None:
    """The id of the new row, or None when a row with that unique value was there and nothing was written."""
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    statement = dialect.insert(table).values(**values).on_conflict_do_nothing(index_elements=[unique_column])
    row_id = connection.execute(statement.returning(table.c.id)).scalar_one_or_none()
    return None if row_id is None else int(row_id)
