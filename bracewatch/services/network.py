"""What all sender processes share about one network: one row, which is also the lock that orders them."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from typing import Any

from sqlalchemy import Connection, Text, bindparam, select, update
from sqlalchemy.dialects import postgresql, sqlite

from bracewatch.store import tables as t

_n = t.network.c
_CHANNEL = bindparam("name", type_=Text())
_LOCK = select(_n.seen_at, _n.look_first_before).where(_n.channel == _CHANNEL).with_for_update()
_SEEN = (
    update(t.network)
    .where(_n.channel == _CHANNEL)
    .values(
        seen_at=bindparam("now", type_=t.UtcDateTime()), look_first_before=bindparam("before", type_=t.UtcDateTime())
    )
)


@cache
def _insert(dialect: str) -> Any:
    insert = (sqlite if dialect == "sqlite" else postgresql).insert(t.network)
    return insert.values(channel=_CHANNEL).on_conflict_do_nothing(index_elements=["channel"])


def lock(connection: Connection, channel: str) -> Any:
    """The network's row, nobody else's until the transaction ends: what is taken from its list is taken once."""
    row = connection.execute(_LOCK, {"name": channel}).one_or_none()
    if row is None:
        connection.execute(_insert(connection.dialect.name), {"name": channel})
        row = connection.execute(_LOCK, {"name": channel}).one()
    return row


def seen(connection: Connection, channel: str, now: datetime, gap: timedelta | None) -> datetime | None:
    """Note that a sender runs, under the lock. Messages due before the moment that comes back may have gone out
    already, unknown to this database: look first. None: there was never a gap.

    A gap means that all senders stood still, or that the database is a backup from before.
    """
    row = lock(connection, channel)
    look_first_before: datetime | None = row.look_first_before
    if gap is not None and (row.seen_at is None or now - row.seen_at > gap):
        look_first_before = now
    connection.execute(_SEEN, {"name": channel, "now": now, "before": look_first_before})
    return look_first_before
