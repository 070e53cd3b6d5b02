"""The sender: takes what is due out of the outbox and hands it to the phone network.

A row is claimed, for the length of a lease, by one conditional statement; the claim is committed before
anything is handed over. A claim whose lease has lapsed may have been sent: it becomes *in doubt* and is
never simply sent again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, bindparam, or_, select, update

from bracewatch.messages.adapter import Accepted, Channel, NotSent, Outcome, Outgoing
from bracewatch.messages.kinds import Asked
from bracewatch.review.contact import BY_NIGHT_TOO, waking
from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t

BATCH = 100
LEASE = timedelta(minutes=5)
MOST_ATTEMPTS = 6
MARKED_TOGETHER, MARKED_WITHIN = 20, timedelta(seconds=2)
FIRST_WAIT = timedelta(minutes=1)  # doubled with each attempt


@dataclass(slots=True)
class Sent:
    """What one run of the sender did, in messages. `stopped_by` is the account fault that ended it early."""

    sent: int = 0
    failed: int = 0
    later: int = 0
    in_doubt: int = 0
    expired: int = 0
    stopped_by: str | None = None


def send_due(store: Store, channel: Channel, clock: Callable[[], datetime], owner: str) -> Sent:
    """Send everything that is due. `owner` names this sender; two senders never share a name.

    `clock` tells the time at each step, an aware datetime. Running it twice sends nothing twice.
    """
    done = Sent()
    if not _anything_waits(store, clock()):
        return done
    while done.stopped_by is None:
        with store.begin() as connection:
            now = clock()
            done.expired += _expire(connection, now)
            done.in_doubt += _doubt_lapsed(connection, now)
            claimed = _claim(connection, owner, now)
            by_day = _leave_for_the_morning(connection, owner, claimed, now)
        _send_batch(store, channel, clock, owner, by_day, done)
        if len(claimed) < BATCH:
            break
    return done


def _anything_waits(store: Store, now: datetime) -> bool:
    """Whether a row is due or a claim has lapsed: most ticks find neither and write nothing."""
    with store.read() as connection:
        return connection.execute(_WAITS, {"now": now}).one_or_none() is not None


def _expire(connection: Connection, now: datetime) -> int:
    return connection.execute(_EXPIRE, {"now": now}).rowcount


def _doubt_lapsed(connection: Connection, now: datetime) -> int:
    return connection.execute(_DOUBT, {"now": now}).rowcount


def _claim(connection: Connection, owner: str, now: datetime) -> list[Row[Any]]:
    claimed = connection.execute(_CLAIM, {"now": now, "claimer": owner, "lease": now + LEASE})
    return sorted(claimed, key=lambda row: (row.due_at, row.id))


def _leave_for_the_morning(
    connection: Connection, owner: str, claimed: list[Row[Any]], now: datetime
) -> list[Row[Any]]:
    """Give up, until eight where the caregiver lives, what must not be sent by night; the rest of the claims."""
    rows = connection.execute(_ZONES, {"ids": [row.caregiver_id for row in claimed]})
    zones = {row.id: row.time_zone for row in rows}
    by_day = []
    for row in claimed:
        morning = now if row.kind in BY_NIGHT_TOO else waking(now, zones[row.caregiver_id])
        if morning > now:
            _fenced(connection, owner, row, {"state": "queued", "due_at": morning, "attempt": row.attempt - 1})
        else:
            by_day.append(row)
    return by_day


# Built once: making a statement costs more than running it.
_o = t.outbox.c
_NOW = bindparam("now", type_=t.UtcDateTime())
_WAITS = (
    select(_o.id).where(_o.state.in_(["queued", "sending"]), or_(_o.due_at <= _NOW, _o.lease_until <= _NOW)).limit(1)
)
_EXPIRE = update(t.outbox).where(_o.state == "queued", _o.useful_until <= _NOW).values(state="expired")
_DOUBT = (
    update(t.outbox)
    .where(_o.state == "sending", _o.lease_until <= _NOW)
    .values(state="in_doubt", owner=None, lease_until=None)
)
_DUE = (
    select(_o.id)
    .where(_o.state == "queued", _o.due_at <= _NOW, _o.useful_until > _NOW)
    .order_by(_o.due_at, _o.id)
    .limit(BATCH)
    .with_for_update(skip_locked=True)  # on PostgreSQL; on SQLite the writer is alone anyway
)
_ZONES = select(t.caregiver.c.id, t.caregiver.c.time_zone).where(t.caregiver.c.id.in_(bindparam("ids", expanding=True)))
_CLAIM = (
    update(t.outbox)
    .where(_o.id.in_(_DUE), _o.state == "queued")
    .values(
        state="sending",
        owner=bindparam("claimer"),
        attempt=_o.attempt + 1,
        lease_until=bindparam("lease", type_=t.UtcDateTime()),
    )
    .returning(
        _o.id,
        _o.key,
        _o.kind,
        _o.child_id,
        _o.caregiver_id,
        _o.phone,
        _o.body,
        _o.asks,
        _o.attempt,
        _o.due_at,
        _o.useful_until,
        _o.lease_until,
    )
)


def _send_batch(
    store: Store,
    channel: Channel,
    clock: Callable[[], datetime],
    owner: str,
    claimed: list[Row[Any]],
    done: Sent,
) -> None:
    handed: list[_Handed] = []
    for place, row in enumerate(claimed):
        now = clock()
        if now >= row.lease_until or now >= row.useful_until:
            _put_back(store, owner, claimed[place:])
            break
        answer = _hand_over(channel, row, now)
        handed.append(_Handed(row, answer, clock()))
        if len(handed) >= MARKED_TOGETHER or handed[-1].at - handed[0].at >= MARKED_WITHIN:
            _mark(store, owner, handed, done)
            handed = []
        if isinstance(answer, NotSent) and answer.outcome is Outcome.ACCOUNT:
            done.stopped_by = answer.code
            _put_back(store, owner, claimed[place + 1 :])
            break
    _mark(store, owner, handed, done)


@dataclass(frozen=True, slots=True)
class _Handed:
    """A row that was handed over, what came back, and when."""

    row: Row[Any]
    answer: Accepted | NotSent
    at: datetime


def _hand_over(channel: Channel, row: Row[Any], now: datetime) -> Accepted | NotSent:
    try:
        message = Outgoing(to=row.phone, body=row.body, reference=row.key, useful_for=row.useful_until - now)
    except ValueError as error:  # one message that cannot be sent must not stop those behind it
        return NotSent(Outcome.PERMANENT, "no-message", str(error))
    try:
        return channel.send(message)
    except NotSent as error:
        return error


def _mark(store: Store, owner: str, handed: list[_Handed], done: Sent) -> None:
    """Write down what came of a group of rows, in one transaction. Until then their claims hold: a sender that
    dies here leaves them in doubt."""
    if not handed:
        return
    with store.begin() as connection:
        for item in handed:
            _mark_one(connection, owner, item.row, item.answer, item.at, done)


def _mark_one(
    connection: Connection, owner: str, row: Row[Any], answer: Accepted | NotSent, now: datetime, done: Sent
) -> None:
    values: dict[str, Any]
    if isinstance(answer, Accepted):
        values = {"state": "sent", "sid": answer.sid, "sent_at": now}
        done.sent += 1
    elif answer.outcome is Outcome.IN_DOUBT:
        values = {"state": "in_doubt", "error": answer.code}
        done.in_doubt += 1
    elif answer.outcome is Outcome.ACCOUNT:
        values = {"state": "queued", "attempt": row.attempt - 1, "error": answer.code}
        done.later += 1
    elif answer.outcome is Outcome.TRANSIENT and row.attempt < MOST_ATTEMPTS:
        wait = FIRST_WAIT * 2 ** (row.attempt - 1)
        values = {"state": "queued", "due_at": now + wait, "error": answer.code}
        done.later += 1
    else:
        values = {"state": "failed", "error": answer.code}
        done.failed += 1
    won = _fenced(connection, owner, row, values)
    if won and values["state"] == "sent" and row.asks in (Asked.HOURS, Asked.NIGHTS):
        wake(connection, row.child_id, now)  # a check-in that went out starts the time to answer it


def _fenced(connection: Connection, owner: str, row: Row[Any], values: dict[str, Any]) -> bool:
    """Write the outcome unless the claim was lost meanwhile; whether it was written."""
    mine = update(t.outbox).where(
        t.outbox.c.id == row.id,
        t.outbox.c.owner == owner,
        t.outbox.c.attempt == row.attempt,
        t.outbox.c.state == "sending",
    )
    return connection.execute(mine.values(owner=None, lease_until=None, **values)).rowcount == 1


def _put_back(store: Store, owner: str, rows: list[Row[Any]]) -> None:
    """Give up claims on rows that were not handed over; they lose no attempt."""
    with store.begin() as connection:
        for row in rows:
            _fenced(connection, owner, row, {"state": "queued", "attempt": row.attempt - 1})
