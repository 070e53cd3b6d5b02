"""Courses as the schedule wants them: their facts, their clinic's days, the protocol they began with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import lru_cache
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Row, bindparam, exists, func, select

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, parse_weekdays
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.local_time import local_day
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline, build, moved
from bracewatch.store import tables as t

BIRTH_DATE = "birth date"  # how a correction of it is named in `child_change`

FACT_COLUMNS = (
    t.course_fact.c.id,
    t.course_fact.c.kind,
    t.course_fact.c.on_day,
    t.course_fact.c.about,
    t.course_fact.c.until_day,
)


def course_of(row: Row[Any], facts: Iterable[Row[Any]]) -> Course:
    """The course in a row that has `born`, `brace_start` and `foot`, with the facts in those rows."""
    return Course(row.born, row.brace_start, tuple(fact_of(fact) for fact in facts), row.foot)


def fact_of(row: Row[Any]) -> Fact:
    """The fact in a row of `FACT_COLUMNS`."""
    return Fact(row.id, FactKind(row.kind), row.on_day, row.about, row.until_day)


def timeline_of(
    row: Row[Any],
    facts: Iterable[Row[Any]],
    moves: Sequence[Row[Any]],
    births: Sequence[Row[Any]],
    clinic: ClinicCalendar,
    rules: Rules,
    now: datetime,
) -> Timeline:
    """The timeline of a course as of now.

    `row` has born, brace_start, foot, protocol_id, protocol_version and time_zone; `moves` are the course's
    rows of `course_protocol`, in order of their day, `births` the child's corrections of the birth date (`old`,
    `recorded_at`), in the order they were made. Neither rewrites what was before it.
    """
    course = course_of(row, facts)
    today = local_day(now, row.time_zone)
    in_use = rules[row.protocol_id, row.protocol_version]
    if not moves and not births:
        return build(in_use, course, clinic, as_of=today)
    born = [date.fromisoformat(one.old) for one in births] + [course.born]
    turns: list[tuple[date, Protocol | None, date | None]] = [
        *((move.from_day, rules[move.protocol_id, move.protocol_version], None) for move in moves),
        *((local_day(one.recorded_at, row.time_zone), None, new) for one, new in zip(births, born[1:], strict=True)),
    ]
    course = replace(course, born=born[0])
    timeline = build(in_use, course, clinic, as_of=today)
    for day, other, corrected in sorted(turns, key=itemgetter(0)):
        in_use, course = other or in_use, replace(course, born=corrected or course.born)
        if day > course.brace_start:
            timeline = moved(timeline, in_use, course, clinic, day, as_of=today)
        else:
            timeline = build(in_use, course, clinic, as_of=today)
    return timeline


Rules = Mapping[tuple[str, int], Protocol]


class KeptRules(dict[tuple[str, int], Protocol]):
    """Protocols by identifier and version, as courses began with them; read when first asked for."""

    def __init__(self, connection: Connection) -> None:
        super().__init__()
        self.connection = connection

    def __missing__(self, key: tuple[str, int]) -> Protocol:
        """Raises LookupError for a protocol and version that no course began with."""
        protocol_id, version = key
        if protocol_id in protocol.shipped_ids() and protocol.shipped(protocol_id).version == version:
            rules = protocol.shipped(protocol_id)
        else:
            kept = t.protocol_text.c
            text = self.connection.execute(
                select(kept.text).where(kept.protocol_id == protocol_id, kept.version == version)
            ).scalar_one_or_none()
            if text is None:
                raise LookupError(f"protocol {protocol_id} version {version} is not kept in this database")
            rules = _parsed(text, f"{protocol_id} version {version}")
        self[key] = rules
        return rules


@lru_cache(maxsize=64)
def _parsed(text: str, where: str) -> Protocol:
    return protocol.parse(text, where)


def keep_rules(connection: Connection, rules: Protocol) -> None:
    """Keep a protocol's wording, so that courses that begin with it keep it when its file changes.

    Raises ValueError for another wording under a version that is kept already.
    """
    known = t.protocol_text.c
    there = connection.execute(
        select(known.text).where(known.protocol_id == rules.id, known.version == rules.version)
    ).scalar_one_or_none()
    if there is None:
        connection.execute(
            t.protocol_text.insert().values(protocol_id=rules.id, version=rules.version, text=rules.text)
        )
    elif there != rules.text:
        raise ValueError(
            f"protocol {rules.id} version {rules.version} is kept in another wording: raise the version in its file"
        )


_CALENDARS = (
    select(
        t.clinic.c.id,
        t.clinic.c.clinic_days,
        t.clinic.c.keeps_holidays,
        t.clinic.c.country,
        t.clinic.c.region,
        t.clinic.c.daily_capacity,
        t.clinic_closed_day.c.day,
        t.clinic_closed_day.c.reason,
    )
    .outerjoin(t.clinic_closed_day)
    .where(t.clinic.c.id.in_(bindparam("ids", expanding=True)))
)
HOLDS = (FactKind.VISIT_BOOKED, FactKind.VISIT_HELD)
_plan = t.course_fact.c
_end = t.course_fact.alias()
_ENDED_BY_THEN = exists().where(
    _end.c.course_id == _plan.course_id, _end.c.kind == FactKind.ENDED, _end.c.on_day <= _plan.on_day
)
_LAST_WORD = (
    select(func.max(_plan.id))
    .where(_plan.kind.in_([*HOLDS, FactKind.VISIT_CANCELLED, FactKind.VISIT_RELEASED]))
    .group_by(_plan.course_id, _plan.about)
)
_FULL = (
    select(t.child.c.clinic_id, _plan.on_day)
    .join(t.course, t.course.c.id == _plan.course_id)
    .join(t.child, t.child.c.id == t.course.c.child_id)
    .join(t.clinic, t.clinic.c.id == t.child.c.clinic_id)
    .where(
        t.clinic.c.id.in_(bindparam("ids", expanding=True)),
        _plan.kind.in_(HOLDS),
        _plan.id.in_(_LAST_WORD),
        ~_ENDED_BY_THEN,
    )
    .group_by(t.child.c.clinic_id, _plan.on_day, t.clinic.c.daily_capacity)
    .having(func.count() >= t.clinic.c.daily_capacity)
)


def calendars_of(connection: Connection, clinic_ids: Iterable[int]) -> dict[int, ClinicCalendar]:
    """The open days of those clinics, by clinic: days that are booked out are full."""
    clinics: dict[int, Any] = {}
    closed: dict[int, dict[date, str]] = defaultdict(dict)
    for row in connection.execute(_CALENDARS, {"ids": list(clinic_ids)}):
        clinics[row.id] = row
        if row.day is not None:
            closed[row.id][row.day] = row.reason
    limited = [number for number, row in clinics.items() if row.daily_capacity is not None]
    full: dict[int, set[date]] = defaultdict(set)
    if limited:
        for booked in connection.execute(_FULL, {"ids": limited}):
            full[booked.clinic_id].add(booked.on_day)
    return {
        number: _calendar(
            row.clinic_days,
            tuple(sorted(closed[number].items())),
            frozenset(full[number]),
            row.country if row.keeps_holidays else None,
            row.region,
        )
        for number, row in clinics.items()
    }


@lru_cache(maxsize=256)
def _calendar(
    clinic_days: str,
    closed: tuple[tuple[date, str], ...],
    full: frozenset[date],
    country: str | None,
    region: str | None,
) -> ClinicCalendar:
    """One calendar for one set of days, so that what it has found out is found out once."""
    return ClinicCalendar(parse_weekdays(clinic_days), dict(closed), full, country, region)


def is_full(connection: Connection, clinic_id: int, day: date) -> bool:
    """Whether the clinic has a daily capacity and that many visits are booked on the day."""
    limited = t.clinic.c.daily_capacity
    if connection.execute(select(limited).where(t.clinic.c.id == clinic_id)).scalar_one() is None:
        return False
    booked = connection.execute(_FULL.where(_plan.on_day == day), {"ids": [clinic_id]})
    return booked.first() is not None
