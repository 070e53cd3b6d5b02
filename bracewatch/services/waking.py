"""New facts wake a child: its next review is due at once."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, update

from bracewatch.store import tables as t


def wake(connection: Connection, child_id: int, now: datetime) -> None:
    """Have the child reviewed by the next tick."""
    connection.execute(update(t.child).where(t.child.c.id == child_id).values(wake_at=now))
