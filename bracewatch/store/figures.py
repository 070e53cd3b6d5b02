"""What the programme's figures are made of: for all clinics or one, one select a kind of fact, none a child.

No name, telephone number or text of a family leaves here; a child is a number that only tells it from others.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, func, select

from bracewatch.messages.kinds import Kind
from bracewatch.store import tables as t
from bracewatch.store.courses import BIRTH_DATE, FACT_COLUMNS

CHECK_INS = (Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS)
NOT_SENT = ("failed", "expired", "in_doubt", "unknown")


@dataclass(frozen=True, slots=True)
class ClinicName:
    """A clinic as figures are asked for: its key, and its name for people."""

    id: int
    key: str
    name: str
    time_zone: str


def clinics(connection: Connection) -> list[ClinicName]:
    """Every clinic, by name."""
    query = select(t.clinic.c.id, t.clinic.c.key, t.clinic.c.name, t.clinic.c.time_zone)
    rows = connection.execute(query.order_by(t.clinic.c.name, t.clinic.c.id))
    return [ClinicName(row.id, row.key, row.name, row.time_zone) for row in rows]


def courses(connection: Connection, clinic_id: int | None) -> Sequence[Row[Any]]:
    """child_id, clinic_id, born, enrolled_on, course_id, protocol_id, brace_start; each child's courses in order."""
    query = (
        select(
            t.child.c.id.label("child_id"),
            t.child.c.clinic_id,
            t.child.c.born,
            t.child.c.enrolled_on,
            t.course.c.id.label("course_id"),
            t.course.c.protocol_id,
            t.course.c.protocol_version,
            t.course.c.brace_start,
            t.course.c.foot,
            t.clinic.c.time_zone,
        )
        .join(t.course, t.course.c.child_id == t.child.c.id)
        .join(t.clinic, t.clinic.c.id == t.child.c.clinic_id)
        .order_by(t.child.c.id, t.course.c.number)
    )
    return connection.execute(_of_clinic(query, clinic_id)).fetchall()


def course_facts(connection: Connection, clinic_id: int | None) -> dict[int, list[Row[Any]]]:
    """Every fact by course, as `courses.fact_of` reads it; without the notes."""
    fact = t.course_fact.c
    query = (
        select(fact.course_id, *FACT_COLUMNS)
        .join(t.course, t.course.c.id == fact.course_id)
        .join(t.child, t.child.c.id == t.course.c.child_id)
        .order_by(fact.id)
    )
    return _by_first(connection, _of_clinic(query, clinic_id))


def course_protocols(connection: Connection, clinic_id: int | None) -> dict[int, list[Row[Any]]]:
    """from_day, protocol_id, protocol_version of every move to another protocol, by course, in order of the day."""
    move = t.course_protocol.c
    query = (
        select(move.course_id, move.from_day, move.protocol_id, move.protocol_version)
        .join(t.course, t.course.c.id == move.course_id)
        .join(t.child, t.child.c.id == t.course.c.child_id)
        .order_by(move.from_day, move.id)
    )
    return _by_first(connection, _of_clinic(query, clinic_id))


def corrected_births(connection: Connection, clinic_id: int | None) -> dict[int, list[Row[Any]]]:
    """old, recorded_at of every correction of a birth date, by child, in the order they were made."""
    made = t.child_change.c
    query = (
        select(made.child_id, made.old, made.recorded_at)
        .join(t.child, t.child.c.id == made.child_id)
        .where(made.what == BIRTH_DATE)
        .order_by(made.id)
    )
    return _by_first(connection, _of_clinic(query, clinic_id))


def _by_first(connection: Connection, query: Select[Any]) -> dict[int, list[Row[Any]]]:
    """The rows by the id in their first column."""
    groups: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in connection.execute(query):
        groups[row[0]].append(row)
    return groups


def check_ins_sent(connection: Connection, clinic_id: int | None, since: datetime) -> Sequence[Row[Any]]:
    """child_id, sent_at of every check-in that went out since then."""
    query = select(t.outbox.c.child_id, t.outbox.c.sent_at).join(t.child, t.child.c.id == t.outbox.c.child_id)
    query = query.where(t.outbox.c.kind.in_(CHECK_INS), t.outbox.c.state == "sent", t.outbox.c.sent_at >= since)
    return connection.execute(_of_clinic(query, clinic_id)).fetchall()


def wear_reports(connection: Connection, clinic_id: int | None, since: datetime) -> Sequence[Row[Any]]:
    """child_id, course_id, kind, day, low, high, heard_at of every report heard since then."""
    report = t.wear_report.c
    query = (
        select(t.course.c.child_id, report.course_id, report.kind, report.day, report.low, report.high, report.heard_at)
        .join(t.course, t.course.c.id == report.course_id)
        .join(t.child, t.child.c.id == t.course.c.child_id)
        .where(report.heard_at >= since)
        .order_by(report.id)
    )
    return connection.execute(_of_clinic(query, clinic_id)).fetchall()


def replies_heard(connection: Connection, clinic_id: int | None, since: datetime) -> Sequence[Row[Any]]:
    """child_id, received_at of everything families wrote since then; not what they wrote."""
    query = select(t.inbound.c.child_id, t.inbound.c.received_at).join(t.child, t.child.c.id == t.inbound.c.child_id)
    return connection.execute(_of_clinic(query.where(t.inbound.c.received_at >= since), clinic_id)).fetchall()


def messages_not_sent(connection: Connection, clinic_id: int | None, since: datetime) -> Sequence[Row[Any]]:
    """child_id, state, messages: how many messages due since then did not surely go out, by child."""
    query = (
        select(t.outbox.c.child_id, t.outbox.c.state, func.count().label("messages"))
        .join(t.child, t.child.c.id == t.outbox.c.child_id)
        .where(t.outbox.c.state.in_(NOT_SENT), t.outbox.c.due_at >= since)
        .group_by(t.outbox.c.child_id, t.outbox.c.state)
    )
    return connection.execute(_of_clinic(query, clinic_id)).fetchall()


def wishes(connection: Connection, clinic_id: int | None) -> Sequence[Row[Any]]:
    """child_id, agreed_at, stopped_at of every caregiver: whether they may be written to."""
    person = t.caregiver.c
    query = select(person.child_id, person.agreed_at, person.stopped_at)
    return connection.execute(_of_clinic(query.join(t.child, t.child.c.id == person.child_id), clinic_id)).fetchall()


def standing_flags(connection: Connection, clinic_id: int | None) -> Sequence[Row[Any]]:
    """child_id, code of every flag that stands."""
    query = select(t.flag.c.child_id, t.flag.c.code).join(t.child, t.child.c.id == t.flag.c.child_id)
    return connection.execute(_of_clinic(query.where(t.flag.c.cleared_at.is_(None)), clinic_id)).fetchall()


def _of_clinic(query: Select[Any], clinic_id: int | None) -> Select[Any]:
    """The query for one clinic's children; unchanged for all clinics. It must select from, or join, children."""
    if clinic_id is None:
        return query
    at_clinic: ColumnElement[bool] = t.child.c.clinic_id == clinic_id
    return query.where(at_clinic)
