"""New facts wake a child: its next review is due at once, and what waited by the old plan is let go."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, update

from bracewatch.messages.kinds import Kind
from bracewatch.store import tables as t

FOLLOWS_THE_PLAN = (Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS, Kind.VISIT_REMINDER, Kind.MISSED_VISIT)


def wake(connection: Connection, child_id: int, now: datetime) -> None:
    """Have the child reviewed by the next tick."""
    connection.execute(_WAKE, {"child": child_id, "now": now})


_WAKE = (
    update(t.child).where(t.child.c.id == bindparam("child")).values(wake_at=bindparam("now", type_=t.UtcDateTime()))
)


def plan_changed(connection: Connection, child_id: int, now: datetime) -> None:
    """Have the child reviewed now, and let go what waits to be said by the plan as it was.

    The review says anew, under the same key, what still holds: a reminder of a visit that has moved since never goes
    out. What may have been handed over to the network stays.
    """
    waits = (t.outbox.c.state == "queued", t.outbox.c.sid.is_(None), t.outbox.c.kind.in_(FOLLOWS_THE_PLAN))
    connection.execute(delete(t.outbox).where(t.outbox.c.child_id == child_id, *waits))
    wake(connection, child_id, now)
