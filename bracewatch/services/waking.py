"""New facts wake a child: its next review is due at once, and what waited by the old plan is let go."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, insert, update

from bracewatch.messages.kinds import Kind
from bracewatch.store import tables as t

FOLLOWS_THE_PLAN = (Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS, Kind.VISIT_REMINDER, Kind.MISSED_VISIT)


def wake(connection: Connection, child_id: int, now: datetime) -> None:
    """Have the child reviewed by the next tick."""
    connection.execute(_WAKE, {"child": child_id, "now": now})


def keep_change(connection: Connection, child_id: int, what: str, old: str, new: str, now: datetime) -> None:
    """Keep what was written down before a correction; the plan may be another."""
    connection.execute(insert(t.child_change).values(child_id=child_id, what=what, old=old, new=new, recorded_at=now))
    plan_changed(connection, child_id, now)


_WAKE = (
    update(t.child).where(t.child.c.id == bindparam("child")).values(wake_at=bindparam("now", type_=t.UtcDateTime()))
)


def plan_changed(connection: Connection, child_id: int, now: datetime) -> None:
    """Have the child reviewed now, and let go what waits to be said by the plan as it was.

    The review says anew, under the same key, what still holds: a reminder of a visit that has moved since never goes
    out. What was handed over to the network once stays, and the review withdraws it if it holds no more.
    """
    waits = (t.outbox.c.state == "queued", t.outbox.c.attempt == 0, t.outbox.c.kind.in_(FOLLOWS_THE_PLAN))
    connection.execute(delete(t.outbox).where(t.outbox.c.child_id == child_id, *waits))
    wake(connection, child_id, now)
