"""Finding out what became of messages that may have been sent: by delivery reports, then in the network's list.

Nothing is sent here. What is found is sent; what is surely not in the list may be sent again; of what cannot be
looked up nothing is concluded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, bindparam, or_, select, update

from bracewatch.messages.adapter import Channel, Listed, NotListed
from bracewatch.messages.kinds import Asked
from bracewatch.services import network
from bracewatch.services.timing import Timing
from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t

NEVER_LEFT = ("failed", "canceled")  # the network's words for a message that never left it (Message resource, READ)
GIVEN_UP = (*NEVER_LEFT, "undelivered")


@dataclass(slots=True)
class Reconciled:
    """What became of messages in doubt. `waiting`: too young to tell, or the list could not be read."""

    sent: int = 0
    queued: int = 0
    expired: int = 0
    unknown: int = 0
    waiting: int = 0


@dataclass(frozen=True, slots=True)
class Sought:
    """A message of ours to be found in a list: when, by our clock, the network can have made it."""

    row_id: int
    phone: str
    body: str
    earliest: datetime
    latest: datetime


def match(sought: Iterable[Sought], listed: Iterable[Listed], taken: AbstractSet[str]) -> dict[int, Listed]:
    """Which listed message each sought one is, by row id; those not found are left out.

    Number and body are equal, the moment fits, and every listed message stands for one row only: the oldest
    first, each for the row whose time ends first, so that as many as possible are found. `taken` are the sids
    that stand for other rows already.
    """
    open_rows: dict[tuple[str, str], list[Sought]] = {}
    for one in sought:
        open_rows.setdefault((one.phone, one.body), []).append(one)
    found: dict[int, Listed] = {}
    for message in sorted(listed, key=lambda message: (message.created_at, message.sid)):
        rows = open_rows.get((message.to, message.body), [])
        fitting = [one for one in rows if one.earliest <= message.created_at <= one.latest]
        if fitting and message.sid not in taken and message.status not in NEVER_LEFT:
            one = min(fitting, key=lambda one: (one.latest, one.earliest, one.row_id))
            rows.remove(one)
            found[one.row_id] = message
    return found


def listing_of(channel: Channel, sought: Sequence[Sought]) -> list[Listed] | None:
    """The network's list for those messages, in one look; None when it cannot be read, or nothing is sought."""
    if not sought:
        return None
    numbers = {one.phone for one in sought}
    try:
        return channel.listing(min(one.earliest for one in sought), numbers.pop() if len(numbers) == 1 else None)
    except NotListed:
        return None


def taken_sids(connection: Connection, listed: Sequence[Listed]) -> set[str]:
    """Those of the listed messages that stand for a row already, or whose delivery report names one."""
    sids = [message.sid for message in listed]
    taken: set[str] = set()
    for start in range(0, len(sids), 500):  # SQLite takes only so many values in one statement
        some = {"sids": sids[start : start + 500]}
        taken.update(connection.execute(_KNOWN, some).scalars())
        taken.update(connection.execute(_NAMED, some).scalars())
    return taken


def reconcile(
    store: Store, channel: Channel, clock: Callable[[], datetime], timing: Timing | None = None
) -> Reconciled:
    """Settle what is in doubt on that channel, as far as it can be. Any number of processes may do so at once."""
    timing = timing or Timing()
    began = clock()
    with store.read() as connection:
        rows = _in_doubt(connection, channel)
        reported = reports_of(connection, rows)
    if not rows:
        return Reconciled()
    ripe = [_sought(row, timing) for row in rows if row.key not in reported and _is_ripe(row, began, timing)]
    # The list is read outside any transaction; whatever it is used for is checked again under the lock.
    listed = listing_of(channel, ripe)
    with store.begin() as connection:
        network.lock(connection, channel.name)
        return _settle(connection, channel, timing, began, listed, {one.row_id for one in ripe}, clock())


def _settle(
    connection: Connection,
    channel: Channel,
    timing: Timing,
    began: datetime,
    listed: list[Listed] | None,
    looked_for: set[int],
    now: datetime,
) -> Reconciled:
    done = Reconciled()
    rows = _in_doubt(connection, channel)
    for row in list(rows):
        report = reports_of(connection, [row]).get(row.key)
        if report is not None and keep_sent(connection, row, report.sid, report.received_at, now):
            done.sent += 1
            rows.remove(row)
    ripe = [row for row in rows if row.id in looked_for and _is_ripe(row, began, timing)]
    done.waiting = len(rows) - len(ripe)
    found: dict[int, Listed] = {}
    if listed is not None:
        found = match([_sought(row, timing) for row in ripe], listed, taken_sids(connection, listed))
    for row in ripe:
        if row.id in found:
            done.sent += keep_sent(connection, row, found[row.id].sid, found[row.id].created_at, now)
        elif listed is None and now < row.useful_until:
            done.waiting += 1
        elif listed is None:
            done.unknown += _decide(connection, row, "unknown")
        elif now < row.useful_until:
            done.queued += _decide(connection, row, "queued")
        else:
            done.expired += _decide(connection, row, "expired")
    return done


def _in_doubt(connection: Connection, channel: Channel) -> list[Any]:
    return list(connection.execute(_IN_DOUBT, {"name": channel.name}))


def keep_sent(connection: Connection, row: Row[Any], sid: str | None, sent_at: datetime, now: datetime) -> bool:
    """Write down that a row, still in the state and attempt in which it was read, had been sent; whether it was."""
    values = {"state": "sent", "sid": sid, "sent_at": sent_at, "owner": None, "lease_until": None}
    if connection.execute(_unchanged(row).values(values)).rowcount == 0:
        return False
    if row.asks in (Asked.HOURS, Asked.NIGHTS):
        wake(connection, row.child_id, now)  # a check-in that went out starts the time to answer it
    return True


def _decide(connection: Connection, row: Row[Any], state: str) -> int:
    return connection.execute(_unchanged(row).values(state=state)).rowcount


def _unchanged(row: Row[Any]) -> Any:
    _o = t.outbox.c
    return update(t.outbox).where(_o.id == row.id, _o.state == row.state, _o.attempt == row.attempt)


def _is_ripe(row: Row[Any], now: datetime, timing: Timing) -> bool:
    return bool((row.doubted_at or row.due_at) + timing.looked_for_after <= now)


def _sought(row: Row[Any], timing: Timing) -> Sought:
    """It was written after it was claimed, and before it was known to be in doubt."""
    return Sought(
        row_id=row.id,
        phone=row.phone,
        body=row.body,
        earliest=(row.handed_at or row.due_at) - timing.clock_slack,
        latest=(row.doubted_at or row.useful_until) + timing.looked_for_after + timing.clock_slack,
    )


def reports_of(connection: Connection, rows: Sequence[Row[Any]], *, still_going: bool = False) -> dict[str, Row[Any]]:
    """The first delivery report of each row, by the row's key, whose sid stands for no row yet.

    Any report at all means that the message was accepted. `still_going`: leave out those that say it was given
    up, for a row that is to be tried once more.
    """
    if not rows:
        return {}
    reports: dict[str, Any] = {}
    for report in connection.execute(_REPORTED, {"keys": [row.key for row in rows]}):
        if not (still_going and report.status in GIVEN_UP):
            reports.setdefault(report.reference, report)
    return reports


# Built once: making a statement costs more than running it.
_o, _r = t.outbox.c, t.delivery_report.c
_IN_DOUBT = (
    select(
        *(_o.id, _o.key, _o.child_id, _o.phone, _o.body, _o.asks, _o.state, _o.attempt),
        *(_o.due_at, _o.useful_until, _o.handed_at, _o.doubted_at),
    )
    .where(_o.state == "in_doubt", or_(_o.channel == bindparam("name"), _o.channel.is_(None)))
    .order_by(_o.id)
)
_KNOWN = select(_o.sid).where(_o.sid.in_(bindparam("sids", expanding=True)))
_NAMED = select(_r.sid).where(_r.sid.in_(bindparam("sids", expanding=True)), _r.reference.is_not(None))
_REPORTED = (
    select(_r.reference, _r.sid, _r.status, _r.received_at)
    .where(
        _r.reference.in_(bindparam("keys", expanding=True)),
        _r.sid.not_in(select(_o.sid).where(_o.sid.is_not(None))),
    )
    .order_by(_r.received_at, _r.id)
)
