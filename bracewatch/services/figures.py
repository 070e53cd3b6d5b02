"""The programme's figures: facts of many children joined with their timelines, then handed to `rates`."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from sqlalchemy import Connection

from bracewatch.rates import adherence, attendance, replies
from bracewatch.rates.adherence import Adherence, CheckIn, Group, Report, group_of
from bracewatch.rates.attendance import Attendance, PlannedVisit
from bracewatch.rates.months import month_of, months_up_to
from bracewatch.rates.replies import Heard, Replies
from bracewatch.review.flags import TITLES
from bracewatch.schedule.local_time import local_day
from bracewatch.schedule.spans import Span
from bracewatch.schedule.timeline import PAUSE, Phase, Timeline
from bracewatch.store import Store, figures
from bracewatch.store.courses import KeptRules, calendars_of, timeline_of
from bracewatch.store.figures import ClinicName
from bracewatch.wear.reports import WearKind, WearReport, last_word

MONTHS_SHOWN = 12
UNSENT_LOOKS_BACK = timedelta(days=30)


class NoSuchClinic(LookupError):
    """There is no clinic with that key."""


@dataclass(frozen=True, slots=True)
class PhaseNow:
    """Children in a phase today, by the phase's own name; `group` is None before the brace and after it."""

    group: Group | None
    name: str
    children: int


@dataclass(frozen=True, slots=True)
class Reach:
    """Children who are in the brace or about to be, and those of them to whose family nothing may be sent."""

    children: int
    not_agreed: int
    stopped: int


@dataclass(frozen=True, slots=True)
class Unsent:
    """Messages of the last 30 days in one state of the outbox: how many, to how many families."""

    state: str
    messages: int
    families: int


@dataclass(frozen=True, slots=True)
class Standing:
    """A kind of flag and the families with one that stands now."""

    code: str
    title: str
    families: int


@dataclass(frozen=True, slots=True)
class Programme:
    """The figures of all clinics or of the `chosen` one. Months go from the first with a child in the brace,
    twelve at most, to that of today; `in_brace` has the children in the brace on some day of each."""

    clinics: tuple[ClinicName, ...]
    chosen: ClinicName | None
    children: int
    months: tuple[date, ...]
    in_brace: Mapping[date, int]
    adherence: tuple[Adherence, ...]
    replies: tuple[Replies, ...]
    visits: tuple[Attendance, ...]
    phases_now: tuple[PhaseNow, ...]
    reach: Reach
    unsent: tuple[Unsent, ...]
    standing: tuple[Standing, ...]
    families_flagged: int


def programme(store: Store, now: datetime, clinic_key: str | None = None) -> Programme:
    """The figures as of an aware `now`. Raises NoSuchClinic for a key that no clinic has."""
    with store.read() as connection:
        clinics = tuple(figures.clinics(connection))
        chosen = _chosen(clinics, clinic_key)
        clinic_id = chosen.id if chosen else None
        children = _lay_out(connection, clinic_id, clinics, now)
        last = max((local_day(now, clinic.time_zone) for clinic in clinics), default=now.astimezone(UTC).date())
        months = months_up_to(last, MONTHS_SHOWN)
        in_brace = {month: sum(child.wore_in(month) for child in children.values()) for month in months}
        first = next((month for month in months if in_brace[month]), months[-1])
        months = tuple(month for month in months if month >= first)
        since = datetime.combine(first, time(0), UTC) - timedelta(days=1)  # no zone is further from UTC
        check_ins = list(_check_ins(connection, clinic_id, children, since, first))
        heard = [Heard(row.child_id, row.received_at) for row in figures.replies_heard(connection, clinic_id, since)]
        reports = _reports(connection, clinic_id, children, since)
        flags = figures.standing_flags(connection, clinic_id)
        return Programme(
            clinics=clinics,
            chosen=chosen,
            children=len(children),
            months=months,
            in_brace={month: in_brace[month] for month in months},
            adherence=tuple(adherence.by_month(adherence.periods(check_ins, reports, now))),
            replies=tuple(replies.by_month(check_ins, heard, now)),
            visits=tuple(attendance.by_month(_visits(children.values(), first))),
            phases_now=_phases_now(children.values()),
            reach=_reach(connection, clinic_id, children),
            unsent=_unsent(connection, clinic_id, now),
            standing=_standing(row.code for row in flags),
            families_flagged=len({row.child_id for row in flags}),
        )


def _chosen(clinics: Iterable[ClinicName], key: str | None) -> ClinicName | None:
    if key is None:
        return None
    for clinic in clinics:
        if clinic.key == key:
            return clinic
    raise NoSuchClinic(f"there is no clinic {key!r}: choose one of those listed")


@dataclass(frozen=True, slots=True)
class _Course:
    brace_start: date
    timeline: Timeline
    grace: Span


@dataclass(frozen=True, slots=True)
class _Child:
    """A child's courses in order, and the day it is at its clinic."""

    zone: str
    today: date
    enrolled_on: date
    courses: dict[int, _Course]

    def phase_on(self, day: date) -> tuple[Phase, Group] | None:
        """The phase in force on a day, in the latest course that had begun; None when no brace was prescribed."""
        begun = [course for course in self.courses.values() if course.brace_start <= day]
        return _in_force(begun[-1], day) if begun else None

    def wore_in(self, month: date) -> bool:
        """Whether a brace was prescribed on some day of the month, up to today, since enrolment."""
        following = (month + timedelta(days=31)).replace(day=1)
        return any(
            max(month, course.brace_start, self.enrolled_on)
            < min(following, course.timeline.ends_on, self.today + timedelta(days=1))
            for course in self.courses.values()
        )


def _in_force(course: _Course, day: date) -> tuple[Phase, Group] | None:
    phase = course.timeline.in_force(day)
    if phase is None or phase.key == PAUSE:
        return None
    return phase, group_of(phase.asks, is_first=phase is course.timeline.phases[0])


def _lay_out(
    connection: Connection, clinic_id: int | None, clinics: Iterable[ClinicName], now: datetime
) -> dict[int, _Child]:
    """Every child by its id, each course with its timeline."""
    zones = {clinic.id: clinic.time_zone for clinic in clinics}
    todays = {number: local_day(now, zone) for number, zone in zones.items()}
    calendars = calendars_of(connection, zones)
    facts = figures.course_facts(connection, clinic_id)
    moves = figures.course_protocols(connection, clinic_id)
    births = figures.corrected_births(connection, clinic_id)
    rules = KeptRules(connection)
    children: dict[int, _Child] = {}
    for row in figures.courses(connection, clinic_id):
        today = todays[row.clinic_id]
        moved = moves.get(row.course_id, [])
        born = births.get(row.child_id, [])
        timeline = timeline_of(row, facts.get(row.course_id, ()), moved, born, calendars[row.clinic_id], rules, now)
        grace = rules[row.protocol_id, row.protocol_version].thresholds.missed_visit_grace
        child = children.setdefault(row.child_id, _Child(zones[row.clinic_id], today, row.enrolled_on, {}))
        child.courses[row.course_id] = _Course(row.brace_start, timeline, grace)
    return children


def _check_ins(
    connection: Connection, clinic_id: int | None, children: Mapping[int, _Child], since: datetime, first: date
) -> Iterator[CheckIn]:
    """The check-ins sent from the month `first` on, each with the phase on its day at the clinic."""
    for row in figures.check_ins_sent(connection, clinic_id, since):
        child = children[row.child_id]
        day = local_day(row.sent_at, child.zone)
        if day < first:
            continue
        phase, group = child.phase_on(day) or (None, None)
        yield CheckIn(row.child_id, row.sent_at, month_of(day), group, phase.name if phase else "")


def _reports(
    connection: Connection, clinic_id: int | None, children: Mapping[int, _Child], since: datetime
) -> list[Report]:
    """Reported wear as shares of the hours prescribed on its day; of two words on one day, the later."""
    by_course: dict[tuple[int, int], list[WearReport]] = defaultdict(list)
    for row in figures.wear_reports(connection, clinic_id, since):
        report = WearReport(WearKind(row.kind), row.day, row.low, row.high, row.heard_at)
        by_course[row.child_id, row.course_id].append(report)
    return [
        Report(child_id, report.heard_at, report.share(phase.hours_low))
        for (child_id, course_id), reports in by_course.items()
        for report in last_word(reports)
        if (phase := children[child_id].courses[course_id].timeline.in_force(report.day)) is not None
        and phase.key != PAUSE
    ]


def _visits(children: Iterable[_Child], first: date) -> Iterator[tuple[PlannedVisit, date]]:
    """Planned visits from the month `first` on, since enrolment, each with today at its clinic."""
    for child in children:
        for course in child.courses.values():
            for visit in course.timeline.visits:
                day = visit.on or visit.closes
                if not visit.cancelled and day >= max(first, child.enrolled_on):
                    planned = PlannedVisit(day, course.grace.after(day), visit.closes, visit.kept)
                    yield planned, child.today


def _phases_now(children: Iterable[_Child]) -> tuple[PhaseNow, ...]:
    """Children by the phase they are in, in the order of a course; those waiting first, those done last."""
    waiting, paused, done = 0, 0, 0
    counts: Counter[tuple[Group, str]] = Counter()
    for child in children:
        present = _present(child)
        if (force := _in_force(present, child.today)) is not None:
            counts[force[1], force[0].name] += 1
        elif child.today < present.brace_start:
            waiting += 1
        elif child.today < present.timeline.ends_on:
            paused += 1
        else:
            done += 1
    order = list(Group)
    rows = [
        PhaseNow(group, name, counts[group, name])
        for group, name in sorted(counts, key=lambda key: (order.index(key[0]), key[1]))
    ]
    if paused:
        rows.append(PhaseNow(None, "Brace paused", paused))
    if waiting:
        rows.insert(0, PhaseNow(None, "Waiting for the brace", waiting))
    if done:
        rows.append(PhaseNow(None, "Bracing has ended", done))
    return tuple(rows)


def _present(child: _Child) -> _Course:
    return list(child.courses.values())[-1]


def _reach(connection: Connection, clinic_id: int | None, children: Mapping[int, _Child]) -> Reach:
    agreed: dict[int, list[tuple[bool, bool]]] = defaultdict(list)
    for row in figures.wishes(connection, clinic_id):
        agreed[row.child_id].append((row.agreed_at is not None, row.stopped_at is not None))
    due = [number for number, child in children.items() if child.today < _present(child).timeline.ends_on]
    unreached = [number for number in due if (True, False) not in agreed[number]]
    stopped = sum(any(has_stopped for _, has_stopped in agreed[number]) for number in unreached)
    return Reach(children=len(due), not_agreed=len(unreached) - stopped, stopped=stopped)


def _unsent(connection: Connection, clinic_id: int | None, now: datetime) -> tuple[Unsent, ...]:
    rows = figures.messages_not_sent(connection, clinic_id, now - UNSENT_LOOKS_BACK)
    return tuple(
        Unsent(state, sum(row.messages for row in rows if row.state == state), families)
        for state in figures.NOT_SENT
        if (families := sum(row.state == state for row in rows))
    )


def _standing(codes: Iterable[str]) -> tuple[Standing, ...]:
    """One row a kind of flag that stands anywhere, in the order of the rules."""
    counts = Counter(codes)
    return tuple(Standing(code, title, counts[code]) for code, title in TITLES.items() if counts[code])
