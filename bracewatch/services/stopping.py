"""The stop switch: while a stop stands nothing is sent, for one clinic or for all. Rows wait or expire."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from bracewatch.store import Store
from bracewatch.store import tables as t

PERSON, ACCOUNT = "person", "account"
SENDER = "the sender"  # who pressed the switch when no person did


class StopRefused(ValueError):
    """The switch was not moved; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop that stands. `clinic_id` None: all clinics. `cause`: "person", or "account" for a fault of our account."""

    id: int
    clinic_id: int | None
    cause: str
    why: str
    stopped_by: str
    stopped_at: datetime


_s = t.sending_stop.c
_STANDING = (
    select(_s.id, _s.clinic_id, _s.cause, _s.why, _s.stopped_by, _s.stopped_at)
    .where(_s.lifted_at.is_(None))
    .order_by(_s.stopped_at, _s.id)
)


def stop_sending(store: Store, *, clinic_id: int | None, why: str, by: str, now: datetime) -> int:
    """Press the switch for a clinic, or for all (None); the stop's id. Within five seconds nothing is handed over.

    A person's stop that stands there already stays, and its id comes back. Raises StopRefused without a reason
    or a name.
    """
    if not why.strip() or not by.strip():
        raise StopRefused("say why sending stops, and who stops it")
    with store.begin() as connection:
        for stop in standing_stops(connection):
            if (stop.clinic_id, stop.cause) == (clinic_id, PERSON):
                return stop.id
        return _press(connection, clinic_id, PERSON, why.strip(), by.strip(), now)


def lift_stop(store: Store, stop_id: int, *, by: str, now: datetime) -> None:
    """Let sending go on. Raises StopRefused without a name, or when that stop does not stand."""
    if not by.strip():
        raise StopRefused("say who lets sending go on")
    with store.begin() as connection:
        lifted = connection.execute(
            update(t.sending_stop)
            .where(_s.id == stop_id, _s.lifted_at.is_(None))
            .values(lifted_by=by.strip(), lifted_at=now)
        )
        if lifted.rowcount == 0:
            raise StopRefused(f"no stop {stop_id} stands: look again, somebody may have lifted it")


def standing_stops(connection: Connection) -> list[Stop]:
    """The stops that stand, the oldest first."""
    return [Stop(*row) for row in connection.execute(_STANDING)]


def stop_for_account(connection: Connection, code: str, what: str, now: datetime) -> None:
    """Press the switch for all clinics after a fault of our account, unless one such stop stands. Only a person
    lifts it: until the account is put right every message would fail the same way."""
    if any(stop.cause == ACCOUNT for stop in standing_stops(connection)):
        return
    why = f"{what} ({code}). Correct the account or its settings with the network, then let sending go on."
    _press(connection, None, ACCOUNT, why, SENDER, now)


def _press(connection: Connection, clinic_id: int | None, cause: str, why: str, stopped_by: str, now: datetime) -> int:
    values = {"clinic_id": clinic_id, "cause": cause, "why": why, "stopped_by": stopped_by, "stopped_at": now}
    return int(connection.execute(insert(t.sending_stop).values(values).returning(_s.id)).scalar_one())
