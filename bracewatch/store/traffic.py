"""How many messages are where, what went out and in how many parts, and which ones nobody can account for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, func, or_, select

from bracewatch.store import tables as t


@dataclass(frozen=True, slots=True)
class Traffic:
    """Messages, counted. `sent` since one moment, `expired` and `failed` due since another; the others as of now."""

    waiting: int
    sent: int
    in_doubt: int
    unknown: int
    expired: int
    failed: int


@dataclass(frozen=True, slots=True)
class Lost:
    """A message of which nobody can say whether it arrived. `at`: when it was handed over, or else was due."""

    id: int
    child_id: int
    child_name: str
    clinic_id: int
    phone: str
    kind: str
    language: str
    body: str
    state: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Handed:
    """What the network was given, and so may bill: messages, and their parts."""

    messages: int
    parts: int


@dataclass(frozen=True, slots=True)
class FamilyHanded:
    child_id: int
    child_name: str
    handed: Handed


_o = t.outbox.c


def traffic(connection: Connection, clinic_id: int | None, *, sent_since: datetime, unsent_since: datetime) -> Traffic:
    """The messages of one clinic, or of all (None)."""
    late = _o.due_at >= unsent_since
    counts: list[ColumnElement[Any]] = [
        func.count().filter(_o.state.in_(["queued", "sending"])),
        func.count().filter(_o.sent_at >= sent_since),
        func.count().filter(_o.state == "in_doubt"),
        func.count().filter(_o.state == "unknown"),
        func.count().filter(_o.state == "expired", late),
        func.count().filter(_o.state == "failed", late),
    ]
    return Traffic(*connection.execute(_here(select(*counts), clinic_id)).one())


def lost(
    connection: Connection, clinic_id: int | None, *, doubted_before: datetime, limit: int
) -> tuple[list[Lost], int]:
    """Messages nobody can account for, the oldest first, `limit` at most, and how many there are in all.

    Those that could not be found out about, and those in doubt since before a moment.
    """
    at = func.coalesce(_o.handed_at, _o.due_at)
    open_end = or_(
        _o.state == "unknown",
        and_(_o.state == "in_doubt", func.coalesce(_o.doubted_at, _o.due_at) < doubted_before),
    )
    total = connection.execute(_here(select(func.count()), clinic_id).where(open_end)).scalar_one()
    columns = (t.outbox, t.child.c.name, t.child.c.clinic_id)
    rows = connection.execute(_here(select(*columns), clinic_id).where(open_end).order_by(at, _o.id).limit(limit))
    return [
        Lost(
            row.id,
            row.child_id,
            row.name,
            row.clinic_id,
            row.phone,
            row.kind,
            row.language,
            row.body,
            row.state,
            row.handed_at or row.due_at,
        )
        for row in rows
    ], total


def clinic_of(connection: Connection, outbox_id: int) -> int | None:
    """The clinic of a message; None when there is no such message."""
    query = select(t.child.c.clinic_id).join(t.outbox, t.outbox.c.child_id == t.child.c.id).where(_o.id == outbox_id)
    return connection.execute(query).scalar_one_or_none()


def handed_by_month(
    connection: Connection, clinic_id: int, months: Sequence[tuple[date, datetime, datetime]]
) -> dict[date, Handed]:
    """What a clinic's families were sent, by month: each with the moments at which it begins and ends there."""
    columns: list[ColumnElement[Any]] = []
    for _, begins, ends in months:
        within = and_(_o.sent_at >= begins, _o.sent_at < ends)
        columns += [func.count().filter(within), func.coalesce(func.sum(_o.parts).filter(within), 0)]
    row = connection.execute(_here(select(*columns), clinic_id)).one()
    return {month: Handed(row[2 * place], row[2 * place + 1]) for place, (month, _, _) in enumerate(months)}


def handed_by_family(connection: Connection, clinic_id: int, since: datetime, limit: int) -> list[FamilyHanded]:
    """The families that were sent the most parts since a moment."""
    parts = func.sum(_o.parts)
    query = _here(select(_o.child_id, t.child.c.name, func.count(), parts), clinic_id).where(_o.sent_at >= since)
    rows = connection.execute(query.group_by(_o.child_id, t.child.c.name).order_by(parts.desc(), _o.child_id))
    return [FamilyHanded(row[0], row[1], Handed(row[2], row[3])) for row in rows.fetchmany(limit)]


def handed_to(connection: Connection, child_id: int) -> Handed:
    """What one family was sent since it was enrolled."""
    query = select(func.count(), func.coalesce(func.sum(_o.parts), 0))
    return Handed(*connection.execute(query.where(_o.child_id == child_id, _o.sent_at.is_not(None))).one())


def _here(query: Select[Any], clinic_id: int | None) -> Select[Any]:
    query = query.select_from(t.outbox.join(t.child, t.child.c.id == t.outbox.c.child_id))
    return query if clinic_id is None else query.where(t.child.c.clinic_id == clinic_id)
