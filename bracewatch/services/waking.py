"""New facts wake a child: its next review is due at once."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, insert, update

from bracewatch.store import tables as t


def wake(connection: Connection, child_id: int, now: datetime) -> None:
    """Have the child reviewed by the next tick."""
    connection.execute(_WAKE, {"child": child_id, "now": now})


def keep_change(connection: Connection, child_id: int, what: str, old: str, new: str, now: datetime) -> None:
    """Keep what was written down before a correction, and wake the child."""
    connection.execute(insert(t.child_change).values(child_id=child_id, what=what, old=old, new=new, recorded_at=now))
    wake(connection, child_id, now)


_WAKE = (
    update(t.child).where(t.child.c.id == bindparam("child")).values(wake_at=bindparam("now", type_=t.UtcDateTime()))
)
