"""Changing what a course rests on: its protocol, the birth date, the clinic, where a caregiver lives.

What has happened stays as it was: visits that were held keep their day, phases before the change keep their
hours, and every change is kept beside the old value.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from bracewatch.review import Case
from bracewatch.schedule.facts import Course, FactKind, faults_in
from bracewatch.schedule.local_time import zone
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline, moved
from bracewatch.services.facts import FactRefused, present_case
from bracewatch.services.waking import keep_change, plan_changed
from bracewatch.store import Store, courses
from bracewatch.store import tables as t


@dataclass(frozen=True, slots=True)
class ProtocolMove:
    """What a move to another protocol would change, to be looked at before anybody confirms it."""

    child_id: int
    from_day: date
    rules: Protocol
    before: Timeline
    after: Timeline


def preview_protocol(store: Store, child_id: int, rules: Protocol, from_day: date, now: datetime) -> ProtocolMove:
    """How the child's timeline would look if it followed `rules` from that day; nothing is written.

    Raises FactRefused when there is no such child, the day is before the brace start or today, or the
    protocol has no course for a child of that age and foot.
    """
    with store.read() as connection:
        return _preview(connection, child_id, rules, from_day, now)


def move_to_protocol(store: Store, child_id: int, rules: Protocol, from_day: date, now: datetime) -> ProtocolMove:
    """Have the child's present course follow `rules` from that day on; what was before stays as it was.

    Raises FactRefused as `preview_protocol` does.
    """
    with store.begin() as connection:
        move = _preview(connection, child_id, rules, from_day, now)
        course_id = present_case(connection, child_id, now).course_id
        try:
            courses.keep_rules(connection, rules)
        except ValueError as error:
            raise FactRefused([str(error)]) from error
        connection.execute(
            insert(t.course_protocol).values(
                course_id=course_id,
                from_day=from_day,
                protocol_id=rules.id,
                protocol_version=rules.version,
                recorded_at=now,
            )
        )
        plan_changed(connection, child_id, now)
    return move


def change_birth_date(store: Store, child_id: int, born: date, now: datetime) -> None:
    """Correct the birth date: what is ahead follows it, phases and visits before today stay as they were.

    Raises FactRefused for a date that cannot be, or for which the protocol has no course.
    """
    with store.begin() as connection:
        case = present_case(connection, child_id, now)
        course = _course(connection, case)
        faults = faults_in(born, course.brace_start, case.clinic_day(now))
        faults += _no_variant(case.protocol, replace(course, born=born))
        if faults:
            raise FactRefused(faults)
        keep_change(connection, child_id, courses.BIRTH_DATE, course.born.isoformat(), born.isoformat(), now)
        connection.execute(update(t.child).where(t.child.c.id == child_id).values(born=born))


def change_clinic(store: Store, child_id: int, clinic_id: int, now: datetime) -> None:
    """Have another clinic see the child from now on. Visits ahead give up the day that was held at the old clinic;
    one without an open day in its window at the new one is flagged. Visits that are past keep their day.

    Raises FactRefused when there is no such child or clinic.
    """
    with store.begin() as connection:
        case = present_case(connection, child_id, now)
        names = {row.id: row.name for row in connection.execute(select(t.clinic.c.id, t.clinic.c.name))}
        if clinic_id not in names:
            raise FactRefused([f"there is no clinic {clinic_id}"])
        keep_change(connection, child_id, "clinic", names[case.clinic_id], names[clinic_id], now)
        connection.execute(update(t.child).where(t.child.c.id == child_id).values(clinic_id=clinic_id))
        for kind, key, on in _held_anew(case, case.clinic_day(now)):
            connection.execute(
                insert(t.course_fact).values(
                    course_id=case.course_id,
                    kind=kind,
                    on_day=on,
                    about=key,
                    note="change of clinic",
                    recorded_at=now,
                )
            )


def _held_anew(case: Case, today: date) -> Iterator[tuple[FactKind, str, date]]:
    """What is written about visits when the child's clinic changes: past days stay, days ahead are given up."""
    for visit in case.timeline.visits:
        if visit.kept is not None or visit.cancelled:
            continue
        if visit.on is None:
            if visit.due <= today:  # the former clinic had no day for it, and the other one's past days are no visit
                yield FactKind.VISIT_CANCELLED, visit.key, today
        elif visit.on > today and visit.booked:
            yield FactKind.VISIT_RELEASED, visit.key, visit.on
        elif visit.on <= today and not visit.booked:
            yield FactKind.VISIT_HELD, visit.key, visit.on


def change_zone(store: Store, caregiver_id: int, time_zone: str, now: datetime) -> None:
    """The caregiver lives by another clock from now on: only what is still to be said moves.

    Raises FactRefused for an unknown zone or caregiver.
    """
    try:
        zone(time_zone)
    except ValueError as error:
        raise FactRefused([str(error)]) from error
    with store.begin() as connection:
        row: Any = connection.execute(
            select(t.caregiver.c.child_id, t.caregiver.c.time_zone).where(t.caregiver.c.id == caregiver_id)
        ).one_or_none()
        if row is None:
            raise FactRefused([f"there is no caregiver {caregiver_id}"])
        keep_change(connection, row.child_id, "time zone", row.time_zone, time_zone, now)
        connection.execute(update(t.caregiver).where(t.caregiver.c.id == caregiver_id).values(time_zone=time_zone))


def _preview(connection: Connection, child_id: int, rules: Protocol, from_day: date, now: datetime) -> ProtocolMove:
    case = present_case(connection, child_id, now)
    course = _course(connection, case)
    today = case.clinic_day(now)
    faults = _no_variant(rules, course)
    if from_day < today:
        faults.append(f"{from_day} is past: a course moves to another protocol today, {today}, or later")
    if from_day < course.brace_start:
        faults.append(f"{from_day} is before the brace start {course.brace_start}")
    if from_day >= case.timeline.ends_on:
        faults.append(f"{from_day} is after the end of bracing, {case.timeline.ends_on}")
    faults += _planned_moves(connection, case.course_id, today)
    if faults:
        raise FactRefused(faults)
    calendar = courses.calendars_of(connection, [case.clinic_id])[case.clinic_id]
    after = moved(case.timeline, rules, course, calendar, from_day, as_of=today)
    return ProtocolMove(child_id, from_day, rules, case.timeline, after)


def _planned_moves(connection: Connection, course_id: int, today: date) -> list[str]:
    """Moves that are still ahead: a second one would not do what its preview shows."""
    move = t.course_protocol.c
    ahead = connection.execute(
        select(move.from_day, move.protocol_id).where(move.course_id == course_id, move.from_day > today)
    )
    return [f"a move to {row.protocol_id} on {row.from_day} is planned already: withdraw it first" for row in ahead]


def withdraw_move(store: Store, child_id: int, from_day: date, now: datetime) -> None:
    """A move to another protocol that is still ahead is not made. Raises FactRefused when none is planned then."""
    with store.begin() as connection:
        case = present_case(connection, child_id, now)
        move = t.course_protocol.c
        planned = (move.course_id == case.course_id, move.from_day == from_day, move.from_day > case.clinic_day(now))
        row = connection.execute(select(move.protocol_id).where(*planned)).first()
        if row is None:
            raise FactRefused([f"no move to another protocol is planned for {from_day}"])
        connection.execute(delete(t.course_protocol).where(*planned))
        keep_change(connection, child_id, "planned move", f"{row.protocol_id} on {from_day}", "withdrawn", now)


def _no_variant(rules: Protocol, course: Course) -> list[str]:
    try:
        rules.variant_for(course.born, course.brace_start, course.foot)
    except ValueError as error:
        return [str(error)]
    return []


def _course(connection: Connection, case: Case) -> Course:
    row: Any = connection.execute(
        select(t.child.c.born, t.course.c.brace_start, t.course.c.foot)
        .join(t.course, t.course.c.child_id == t.child.c.id)
        .where(t.course.c.id == case.course_id)
    ).one()
    facts: Any = connection.execute(
        select(*courses.FACT_COLUMNS).where(t.course_fact.c.course_id == case.course_id)
    ).fetchall()
    return courses.course_of(row, facts)
