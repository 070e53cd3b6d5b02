"""Cases, loaded hundreds at a time from plain rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, Select, bindparam, select

from bracewatch.messages.kinds import Asked, Kind, Meaning, Next
from bracewatch.review import Call, Caregiver, Case, Heard, Question, Written
from bracewatch.review.contact import UNASKED
from bracewatch.schedule.local_time import local_day
from bracewatch.store import tables as t
from bracewatch.store.courses import BIRTH_DATE, FACT_COLUMNS, KeptRules, calendars_of, timeline_of
from bracewatch.wear.reports import WearKind, WearReport

REMEMBERED = timedelta(days=400)  # how far back replies, questions and calls can still matter
WRITTEN_MATTERS = timedelta(days=12)  # the longest that a message is of use, and a week
NEVER_WENT = ("failed", "expired", "withdrawn")  # states of the outbox
SPOKE = "spoke"  # the outcome of a call in which a caregiver was reached


def load(connection: Connection, child_ids: Sequence[int], now: datetime) -> list[Case]:
    """The cases of those children in their present course, in the order given. Children without one are left out."""
    rows = connection.execute(_PRESENT_COURSES, {"ids": list(child_ids)})
    courses: dict[int, Any] = {row.child_id: row for row in rows}
    course_ids = [row.course_id for row in courses.values()]
    facts = _grouped(connection, _FACTS, course_ids)
    moves = _grouped(connection, _MOVES, course_ids)
    births = _grouped(connection, _BIRTHS, child_ids)
    rules = KeptRules(connection)
    calendars = calendars_of(connection, {row.clinic_id for row in courses.values()})
    caregivers = _grouped(connection, _CAREGIVERS, child_ids)
    since = now - REMEMBERED
    reports = _grouped(connection, _REPORTS, course_ids, since)
    heard = _grouped(connection, _HEARD, child_ids, since)
    asked = _grouped(connection, _ASKED, child_ids, since)
    written = _grouped(connection, _WRITTEN, child_ids, now - WRITTEN_MATTERS)
    calls = _grouped(connection, _CALLS, child_ids)
    return [
        Case(
            child_id=child_id,
            course_id=row.course_id,
            clinic_id=row.clinic_id,
            protocol=rules[_in_use(row, moves[row.course_id], now)],
            timeline=timeline_of(
                row,
                facts[row.course_id],
                moves[row.course_id],
                births[child_id],
                calendars[row.clinic_id],
                rules,
                now,
            ),
            clinic_zone=row.time_zone,
            enrolled_on=row.enrolled_on,
            caregiver=_addressed(people := _people(caregivers[child_id])),
            reports=tuple(
                WearReport(WearKind(r.kind), r.day, r.low, r.high, r.heard_at) for r in reports[row.course_id]
            ),
            questions=tuple(Question(Asked(r.asks), r.sent_at) for r in asked[child_id]),
            written=tuple(
                Written(r.key, r.created_at, counts=r.state not in NEVER_WENT and r.kind != Kind.WELCOME)
                for r in written[child_id]
            ),
            heard=tuple(
                Heard(r.received_at, r.body, Meaning(r.meaning), r.about, Next(r.next), r.handled_at)
                for r in heard[child_id]
            ),
            calls=tuple(Call(r.called_at, spoke=r.outcome == SPOKE) for r in calls[child_id]),
            passed_over=_passed_over(people),
        )
        for child_id in child_ids
        if (row := courses.get(child_id)) is not None
    ]


_PRESENT_COURSES = (
    select(
        t.child.c.id.label("child_id"),
        t.child.c.born,
        t.child.c.enrolled_on,
        t.child.c.clinic_id,
        t.clinic.c.time_zone,
        t.course.c.id.label("course_id"),
        t.course.c.protocol_id,
        t.course.c.protocol_version,
        t.course.c.brace_start,
        t.course.c.foot,
    )
    .join(t.clinic, t.clinic.c.id == t.child.c.clinic_id)
    .join(t.course, t.course.c.child_id == t.child.c.id)
    .where(t.child.c.id.in_(bindparam("ids", expanding=True)))
    .order_by(t.course.c.number)  # the last one wins in the mapping above
)


def _rows_of(by: Any, *columns: Any, since: Any = None) -> Select[Any]:
    """Those columns behind the id they are grouped by, for a list of ids, after a moment where `since` is given.

    Built once, used often; no column more than a case needs: whole rows cost three times as much.
    """
    query = select(by, *columns).where(by.in_(bindparam("ids", expanding=True))).order_by(by.table.c.id)
    return query if since is None else query.where(since > bindparam("since", type_=t.UtcDateTime()))


_f, _m, _b, _p, _r, _i, _o, _c = (
    table.c
    for table in (
        t.course_fact,
        t.course_protocol,
        t.child_change,
        t.caregiver,
        t.wear_report,
        t.inbound,
        t.outbox,
        t.call,
    )
)
_FACTS = _rows_of(_f.course_id, *FACT_COLUMNS)
_MOVES = _rows_of(_m.course_id, _m.from_day, _m.protocol_id, _m.protocol_version).order_by(None)
_MOVES = _MOVES.order_by(_m.from_day, _m.id)
_BIRTHS = _rows_of(_b.child_id, _b.old, _b.recorded_at).where(_b.what == BIRTH_DATE)
_CAREGIVERS = _rows_of(
    *(_p.child_id, _p.id, _p.language, _p.time_zone, _p.contact_time, _p.agreed_at, _p.stopped_at, _p.stopped_why),
    *(_p.number_failed_at, _p.number_failed_code),
)
_REPORTS = _rows_of(_r.course_id, _r.kind, _r.day, _r.low, _r.high, _r.heard_at, since=_r.heard_at)
_HEARD = _rows_of(
    _i.child_id, _i.received_at, _i.body, _i.meaning, _i.about, _i.next, _i.handled_at, since=_i.received_at
)
_ASKED = _rows_of(_o.child_id, _o.asks, _o.sent_at, since=_o.sent_at).where(_o.asks != Asked.NOTHING)
_WRITTEN = _rows_of(_o.child_id, _o.key, _o.kind, _o.state, _o.created_at, since=_o.created_at)
_WRITTEN = _WRITTEN.where(_o.kind.in_(UNASKED))
_CALLS = _rows_of(_c.child_id, _c.called_at, _c.outcome)


def _grouped(
    connection: Connection, query: Select[Any], ids: Sequence[int], since: datetime | None = None
) -> dict[int, list[Row[Any]]]:
    """The rows by the id in their first column."""
    groups: dict[int, list[Row[Any]]] = defaultdict(list)
    given = {"ids": list(ids)} if since is None else {"ids": list(ids), "since": since}
    for row in connection.execute(query, given):
        groups[row[0]].append(row)
    return groups


def _in_use(row: Row[Any], moves: list[Row[Any]], now: datetime) -> tuple[str, int]:
    """The protocol a course follows today, whose thresholds and contact count: a move ahead does not yet."""
    today = local_day(now, row.time_zone)
    made = [move for move in moves if move.from_day <= today]
    last = made[-1] if made else row
    return last.protocol_id, last.protocol_version


def _people(rows: list[Row[Any]]) -> list[Caregiver]:
    return [
        Caregiver(
            *(row.id, row.language, row.time_zone, row.contact_time, row.agreed_at, row.stopped_at, row.stopped_why),
            *(row.number_failed_at, row.number_failed_code),
        )
        for row in rows
    ]


def _works(person: Caregiver) -> bool:
    return person.may_be_written_to and person.number_failed_at is None


def _addressed(people: list[Caregiver]) -> Caregiver | None:
    """The first caregiver who may be written to and whose number works; else the first who may be written to, for
    a number may come back to life; the first of all when none may."""
    for wanted in (_works, lambda person: person.may_be_written_to):
        if found := next(filter(wanted, people), None):
            return found
    return people[0] if people else None


def _passed_over(people: list[Caregiver]) -> tuple[Caregiver, ...]:
    """Those who may be written to and whose number fails, where somebody else's works."""
    if not any(_works(person) for person in people):
        return ()
    return tuple(person for person in people if person.may_be_written_to and not _works(person))
