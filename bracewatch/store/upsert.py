"""Insert unless it is there: one statement, on both databases."""

from __future__ import annotations

from functools import cache
from typing import Any

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite


@cache
def _statement(dialect: str, table: Table, unique: tuple[str, ...]) -> Any:
    insert = (sqlite if dialect == "sqlite" else postgresql).insert(table)
    return insert.on_conflict_do_nothing(index_elements=unique).returning(table.c.id)


def insert_if_new(connection: Connection, table: Table, *unique: str, **values: Any) -> int | None:
    """The id of the new row, or None when a row with the same in the `unique` columns was there: nothing is written."""
    statement = _statement(connection.dialect.name, table, unique)
    row_id = connection.execute(statement, values).scalar_one_or_none()
    return None if row_id is None else int(row_id)
