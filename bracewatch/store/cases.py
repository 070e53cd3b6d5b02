"""Cases, loaded hundreds at a time from plain rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, Select, bindparam, select

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.review import Call, Caregiver, Case, Heard, Question
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, parse_weekdays
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.local_time import local_day
from bracewatch.schedule.timeline import Timeline, build
from bracewatch.store import tables as t
from bracewatch.wear.reports import WearKind, WearReport

REMEMBERED = timedelta(days=400)  # how far back replies, questions and calls can still matter
SPOKE = "spoke"  # the outcome of a call in which a caregiver was reached


def load(connection: Connection, child_ids: Sequence[int], now: datetime) -> list[Case]:
    """The cases of those children in their present course, in the order given. Children without one are left out."""
    courses = {row.child_id: row for row in _present_courses(connection, child_ids)}
    course_ids = [row.course_id for row in courses.values()]
    facts = _grouped(connection, _FACTS, course_ids)
    calendars = calendars_of(connection, {row.clinic_id for row in courses.values()})
    caregivers = _grouped(connection, _CAREGIVERS, child_ids)
    since = now - REMEMBERED
    reports = _grouped(connection, _REPORTS, course_ids, since)
    heard = _grouped(connection, _HEARD, child_ids, since)
    sent = _grouped(connection, _SENT, child_ids, since)
    calls = _grouped(connection, _CALLS, child_ids, since)
    return [
        Case(
            child_id=child_id,
            course_id=row.course_id,
            protocol=(rules := protocol.shipped(row.protocol_id)),
            timeline=_timeline(rules, row, facts[row.course_id], calendars[row.clinic_id], now),
            clinic_zone=row.time_zone,
            enrolled_on=row.enrolled_on,
            caregiver=_caregiver(caregivers[child_id]),
            reports=tuple(
                WearReport(WearKind(r.kind), r.day, r.low, r.high, r.heard_at) for r in reports[row.course_id]
            ),
            questions=tuple(Question(Asked(r.asks), r.sent_at) for r in sent[child_id]),
            heard=tuple(
                Heard(r.received_at, r.body, Meaning(r.meaning), r.about, Next(r.next), r.handled_at)
                for r in heard[child_id]
            ),
            calls=tuple(Call(r.called_at, spoke=r.outcome == SPOKE) for r in calls[child_id]),
        )
        for child_id in child_ids
        if (row := courses.get(child_id)) is not None
    ]


def course_of(row: Row[Any], facts: Iterable[Row[Any]]) -> Course:
    """The course in a row that has `born` and `brace_start`, with the facts in those rows."""
    return Course(
        row.born, row.brace_start, tuple(Fact(fact.id, FactKind(fact.kind), fact.on_day, fact.about) for fact in facts)
    )


def calendars_of(connection: Connection, clinic_ids: Iterable[int]) -> dict[int, ClinicCalendar]:
    """The open days of those clinics."""
    ids = list(clinic_ids)
    closed: dict[int, set[date]] = defaultdict(set)
    for row in connection.execute(select(t.clinic_closed_day).where(t.clinic_closed_day.c.clinic_id.in_(ids))):
        closed[row.clinic_id].add(row.day)
    rows = connection.execute(select(t.clinic.c.id, t.clinic.c.clinic_days).where(t.clinic.c.id.in_(ids)))
    return {row.id: ClinicCalendar(parse_weekdays(row.clinic_days), frozenset(closed[row.id])) for row in rows}


def _present_courses(connection: Connection, child_ids: Sequence[int]) -> Sequence[Any]:
    query = (
        select(
            t.child.c.id.label("child_id"),
            t.child.c.born,
            t.child.c.enrolled_on,
            t.child.c.clinic_id,
            t.clinic.c.time_zone,
            t.course.c.id.label("course_id"),
            t.course.c.protocol_id,
            t.course.c.brace_start,
        )
        .join(t.clinic, t.clinic.c.id == t.child.c.clinic_id)
        .join(t.course, t.course.c.child_id == t.child.c.id)
        .where(t.child.c.id.in_(child_ids))
        .order_by(t.course.c.number)  # the last one wins in the mapping above
    )
    return connection.execute(query).fetchall()


def _select_by(column: Any, when: Any = None) -> Select[Any]:
    """Rows of the column's table for a list of ids, since a moment where `when` is given. Built once, used often."""
    query = select(column.table).where(column.in_(bindparam("ids", expanding=True))).order_by(column.table.c.id)
    return query if when is None else query.where(when > bindparam("since", type_=t.UtcDateTime()))


_FACTS = _select_by(t.course_fact.c.course_id)
_CAREGIVERS = _select_by(t.caregiver.c.child_id)
_REPORTS = _select_by(t.wear_report.c.course_id, t.wear_report.c.heard_at)
_HEARD = _select_by(t.inbound.c.child_id, t.inbound.c.received_at)
_SENT = _select_by(t.outbox.c.child_id, t.outbox.c.sent_at).where(t.outbox.c.asks != Asked.NOTHING)
_CALLS = _select_by(t.call.c.child_id, t.call.c.called_at)


def _grouped(
    connection: Connection, query: Select[Any], ids: Sequence[int], since: datetime | None = None
) -> dict[int, list[Row[Any]]]:
    """The rows by the id they were asked for."""
    groups: dict[int, list[Row[Any]]] = defaultdict(list)
    given = {"ids": list(ids)} if since is None else {"ids": list(ids), "since": since}
    rows = connection.execute(query, given)
    place = next(n for n, name in enumerate(rows.keys()) if name in ("child_id", "course_id"))
    for row in rows:
        groups[row[place]].append(row)
    return groups


def _timeline(
    rules: protocol.Protocol, row: Row[Any], facts: list[Row[Any]], clinic: ClinicCalendar, now: datetime
) -> Timeline:
    return build(rules, course_of(row, facts), clinic, as_of=local_day(now, row.time_zone))


def _caregiver(rows: list[Row[Any]]) -> Caregiver | None:
    """The first caregiver who may be written to; the first of all when none may."""
    people = [
        Caregiver(row.id, row.language, row.time_zone, row.contact_time, row.agreed_at, row.stopped_at) for row in rows
    ]
    return next((person for person in people if person.may_be_written_to), people[0] if people else None)
