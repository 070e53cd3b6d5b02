"""What the network reports of a message we handed over: kept as it came, and what follows from it.

Reports come repeated, out of order, before the answer to the sending itself, or never. So each is kept once,
and the state of a message is worked out again from all that were kept: their order makes no difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, and_, bindparam, func, or_, select, update

from bracewatch.messages.adapter import Outcome
from bracewatch.messages.kinds import Asked
from bracewatch.messages.provider_codes import OUTCOMES
from bracewatch.services.people import StopReason, number_fails, number_works, stop_messages
from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t
from bracewatch.store.upsert import insert_if_new

# The provider's words for a message, the last in the list counting most (Twilio's public API description,
# Message resource, READ; the order of the last ones is ours). "failed" stands above "delivered", though the two
# never meet: a failure shown to staff without need does no harm, one that is hidden might.
ORDER = (
    *("accepted", "scheduled", "queued", "sending", "sent"),
    *("undelivered", "delivered", "read", "canceled", "failed"),
)
GOT_THROUGH = ("delivered", "read")
GIVEN_UP = ("undelivered", "failed")
# Only codes we know say something about a number; any other failure may be ours or the carrier's.
NUMBER_FAILS = tuple(str(code) for code, outcome in OUTCOMES.items() if outcome is Outcome.PERMANENT)
OPTED_OUT = tuple(str(code) for code, outcome in OUTCOMES.items() if outcome is Outcome.OPTED_OUT)

_MAY_HAVE_GONE = ("sending", "in_doubt", "unknown")


def report(store: Store, *, reference: str | None, sid: str, status: str, code: str | None, now: datetime) -> bool:
    """Take one report in; whether it is of a message of ours and new.

    `reference` is our own name for the message, where it came back; `sid` is the network's name; `status` and
    `code` are the network's words. A report of a message that nobody knows is kept. One that comes again, or
    whose sid is not the one the message has, changes nothing.
    """
    with store.begin() as connection:
        report_id = insert_if_new(
            connection,
            t.delivery_report,
            "sid",
            "status",
            sid=sid,
            status=status,
            reference=reference,
            code=code,
            received_at=now,
        )
        row = _message(connection, reference, sid) if report_id is not None else None
        if row is None:
            return False
        reports: Sequence[Any] = connection.execute(_REPORTS, {"known": sid}).fetchall()
        news: Sequence[Any] = [one for one in reports if one.id == report_id]
        if row.sid is None:
            if not _was_handed_over(row, reports):
                return False
            _settle(connection, row, sid, now)
            news = reports
        _take_over(connection, row, reports)
        if any(one.status in GIVEN_UP and one.code in OPTED_OUT for one in news):
            _stop(connection, row.phone, now)
        if any(one.status in (*GOT_THROUGH, *GIVEN_UP) for one in news):
            _judge_number(connection, row.phone, now)
    return True


def _message(connection: Connection, reference: str | None, sid: str) -> Any:
    """The message with that sid; else the one of that reference, unless it has another sid."""
    row: Any = connection.execute(_BY_SID, {"known": sid}).one_or_none()
    if row is None and reference is not None:
        row = connection.execute(_BY_REFERENCE, {"known": reference}).one_or_none()
    return row if row is None or row.sid in (None, sid) else None


def _was_handed_over(row: Any, reports: Sequence[Any]) -> bool:
    """Whether the reports settle a row whose sid we never heard.

    A row that waits to be sent again was sent after all when its message goes its way; when it was given up,
    the next attempt may still get through.
    """
    if row.state == "queued" and row.attempt:
        return any(_rank(one.status) and one.status not in (*GIVEN_UP, "canceled") for one in reports)
    return row.state in _MAY_HAVE_GONE


def _settle(connection: Connection, row: Any, sid: str, now: datetime) -> None:
    """The row was sent, under that sid, when it was handed over."""
    connection.execute(
        update(t.outbox)
        .where(_o.id == row.id)
        .values(state="sent", sid=sid, sent_at=func.coalesce(_o.handed_at, now), owner=None, lease_until=None)
    )
    if row.asks in (Asked.HOURS, Asked.NIGHTS):
        wake(connection, row.child_id, now)  # a check-in that went out starts the time to answer it


def _take_over(connection: Connection, row: Any, reports: Sequence[Any]) -> None:
    """Write down the furthest that the message has come."""
    best = max(reports, key=lambda one: _rank(one.status))
    if _rank(best.status) > _rank(row.delivery):
        values = {"word": best.status, "code": best.code, "at": best.received_at}
        connection.execute(_MOVE_UP, {"message": row.id, **values})


def _rank(status: str | None) -> int:
    """The place of a status in `ORDER`, counted from 1; 0 for none and for a word we do not know."""
    return ORDER.index(status) + 1 if status in ORDER else 0


def _stop(connection: Connection, phone: str, now: datetime) -> None:
    """The network passes nothing on to this number any more, because somebody there asked it to."""
    for caregiver_id in connection.execute(_with_number(phone)).scalars().all():
        stop_messages(connection, caregiver_id, now, StopReason.ASKED)
    for child_id in connection.execute(select(t.caregiver.c.child_id).where(t.caregiver.c.phone == phone)).scalars():
        wake(connection, child_id, now)


def _judge_number(connection: Connection, phone: str, now: datetime) -> None:
    """Whether the number works: what became of the last message to it that tells, and what came from it since."""
    last: Any = connection.execute(_LAST_THAT_TELLS, {"number": phone}).one_or_none()
    if last is None:
        return
    if last.status in GOT_THROUGH:
        number_works(connection, phone, now)
    elif not _wrote_since(connection, phone, last.sent_at):
        number_fails(connection, phone, last.code, now)


def _wrote_since(connection: Connection, phone: str, moment: datetime) -> bool:
    came = t.inbound.c
    query = select(came.id).where(
        came.caregiver_id.in_(_with_number(phone)), came.phone == phone, came.received_at > moment
    )
    return connection.execute(query.limit(1)).one_or_none() is not None


def _with_number(phone: str) -> Any:
    return select(t.caregiver.c.id).where(t.caregiver.c.phone == phone)


# Built once: making a statement costs more than running it.
_o, _r = t.outbox.c, t.delivery_report.c
_REPORTS = select(_r.id, _r.status, _r.code, _r.received_at).where(_r.sid == bindparam("known")).order_by(_r.id)
_MESSAGES = select(
    *(_o.id, _o.child_id, _o.phone, _o.asks, _o.state, _o.attempt, _o.sid, _o.delivery)
).with_for_update()  # so that reports of one message are taken in one after the other
_BY_SID = _MESSAGES.where(_o.sid == bindparam("known"))
_BY_REFERENCE = _MESSAGES.where(_o.key == bindparam("known"))
_MOVE_UP = (
    update(t.outbox)
    .where(_o.id == bindparam("message"))
    .values(
        delivery=bindparam("word"),
        delivery_code=bindparam("code"),
        delivery_at=bindparam("at", type_=t.UtcDateTime()),
    )
)
_ARRIVED = _r.status.in_(GOT_THROUGH)
_LAST_THAT_TELLS = (
    select(_r.status, _r.code, _o.sent_at)
    .join(t.outbox, _o.sid == _r.sid)
    .where(
        _o.caregiver_id.in_(select(t.caregiver.c.id).where(t.caregiver.c.phone == bindparam("number"))),
        _o.phone == bindparam("number"),
        or_(_ARRIVED, and_(_r.status.in_(GIVEN_UP), _r.code.in_(NUMBER_FAILS))),
    )
    .order_by(_o.sent_at.desc(), _o.id.desc(), _ARRIVED.desc())
    .limit(1)
)
