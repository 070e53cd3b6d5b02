"""A child's bracing timeline: a pure function of protocol, course and clinic days."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, FactKind
from bracewatch.schedule.protocol import PhaseRule, Protocol, Variant, VisitRule
from bracewatch.schedule.spans import Span

MAX_VISITS = 200  # no published list comes near; a file that asks for more is mistaken


@dataclass(frozen=True, slots=True)
class Phase:
    """Days from `start` up to, not including, `end`, on which these hours are prescribed."""

    key: str
    name: str
    start: date
    end: date
    hours_low: float
    hours_high: float
    gate: str | None  # the decision that ends the phase
    gate_open: bool  # that decision has been made (always true without a gate)
    asks: str
    check_in_days: int


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit: the day the protocol asks for, the window round it, and the day chosen.

    `on` is None when no day of the window is open. `kept` is the day the child came, if it has.
    """

    key: str
    name: str
    due: date
    opens: date
    closes: date
    on: date | None
    kept: date | None
    decides: str | None
    moved: bool


@dataclass(frozen=True, slots=True)
class Timeline:
    """Phases without gap or overlap from the brace start to `ends_on` (the first day without the brace)."""

    protocol_id: str
    protocol_version: int
    variant: str
    phases: tuple[Phase, ...]
    visits: tuple[Visit, ...]
    ends_on: date

    def in_force(self, day: date) -> Phase | None:
        """The phase whose hours hold on `day`; None before the brace start and from `ends_on` on.

        A phase behind a gate that nobody has opened goes on until the end of bracing, whatever was planned.
        """
        for phase in self.phases:
            if phase.start <= day < phase.end or (not phase.gate_open and phase.end <= day < self.ends_on):
                return phase
        return None


def build(protocol: Protocol, course: Course, clinic: ClinicCalendar, as_of: date | None = None) -> Timeline:
    """The timeline of a course.

    Months are counted from the brace start and, behind a gate, from the day it was opened, never from the
    previous result. With `as_of`, a phase whose gate is still shut on that day is drawn up to the day after.
    Raises ValueError when the protocol has nothing for a child of that age.
    """
    variant = protocol.variant_for(course.born, course.brace_start)
    phases = tuple(_phases(variant, course, as_of))
    if not phases:
        raise ValueError(f"protocol {protocol.id} leaves no day of bracing for a child born {course.born}")
    ended = course.latest(FactKind.ENDED)
    ends_on = min((fact.on for fact in ended.values()), default=phases[-1].end)
    if ended:
        phases = tuple(_cut(phases, ends_on))
    visits = tuple(visit for visit in _visits(variant, course, clinic) if not ended or _stands(visit, ends_on))
    return Timeline(protocol.id, protocol.version, variant.key, phases, visits, ends_on)


def _phases(variant: Variant, course: Course, as_of: date | None) -> Iterator[Phase]:
    opened = course.latest(FactKind.GATE_OPENED)
    anchor, offset, start = course.brace_start, Span(), course.brace_start
    for rule in variant.phase:
        decision = opened.get(rule.gate) if rule.gate else None
        end, offset = _planned_end(rule, course.born, anchor, offset)
        if decision is not None:
            end, anchor, offset = decision.on, decision.on, Span()
        elif rule.gate and as_of is not None and end <= as_of:
            end = as_of + timedelta(days=1)
            anchor, offset = end, Span()
        end = max(end, start)
        if end > start:
            yield _phase(rule, start, end, gate_open=rule.gate is None or decision is not None)
        start = end


def _planned_end(rule: PhaseRule, born: date, anchor: date, offset: Span) -> tuple[date, Span]:
    if rule.until_age is not None:
        return rule.until_age.after(born), offset
    assert rule.lasts is not None  # noqa: S101 - the protocol reader refuses a phase with neither
    offset += rule.lasts
    return offset.after(anchor), offset


def _phase(rule: PhaseRule, start: date, end: date, *, gate_open: bool) -> Phase:
    low, high = rule.hours
    return Phase(rule.key, rule.name, start, end, low, high, rule.gate, gate_open, rule.asks, rule.check_in.days)


def _cut(phases: tuple[Phase, ...], ends_on: date) -> Iterator[Phase]:
    """The phases up to the end of the course; a gate nobody opened keeps its phase in force until then."""
    for phase in phases:
        if phase.start >= ends_on:
            return
        last = phase.end >= ends_on or not phase.gate_open
        end = ends_on if last else phase.end
        yield Phase(
            phase.key,
            phase.name,
            phase.start,
            end,
            phase.hours_low,
            phase.hours_high,
            phase.gate,
            phase.gate_open,
            phase.asks,
            phase.check_in_days,
        )
        if last:
            return


def _stands(visit: Visit, ends_on: date) -> bool:
    return visit.kept is not None or (visit.on or visit.due) < ends_on


def _visits(variant: Variant, course: Course, clinic: ClinicCalendar) -> Iterator[Visit]:
    kept = course.latest(FactKind.VISIT_KEPT)
    moved = course.latest(FactKind.VISIT_MOVED)
    for key, rule, due in _due_days(variant, course):
        opens, closes = rule.opens.before(due), rule.closes.after(due)
        opens = max(opens, course.brace_start)
        came, other_day = kept.get(key), moved.get(key)
        on = other_day.on if other_day else clinic.nearest_open(due, opens, closes)
        yield Visit(
            key,
            rule.name,
            due,
            opens,
            closes,
            on,
            came.on if came else None,
            rule.decides,
            other_day is not None,
        )


def _due_days(variant: Variant, course: Course) -> Iterator[tuple[str, VisitRule, date]]:
    """Key, rule and due day of each visit in order of time. Rows of visits count on, in months from the
    brace start, from the visit before them."""
    offset = Span()
    for place, rule in enumerate(variant.visit):
        if rule.after is not None:
            offset = rule.after
            yield rule.key, rule, offset.after(course.brace_start)
        elif rule.at_age is not None:
            due = rule.at_age.after(course.born)
            if due > course.brace_start:
                yield rule.key, rule, due
        else:
            assert rule.every is not None  # noqa: S101 - the protocol reader refuses a visit with none
            stop = _row_ends(rule, course, variant.visit[place + 1 :])
            for number in range(1, MAX_VISITS):
                due = (offset + rule.every).after(course.brace_start)
                if due > stop:
                    break
                offset += rule.every
                yield f"{rule.key}-{number}", rule, due


def _row_ends(rule: VisitRule, course: Course, later: tuple[VisitRule, ...]) -> date:
    """The last day on which a visit of this row may be due.

    A row stops half an interval before a fixed visit that follows it: two visits a week apart help nobody.
    """
    stop = rule.until_age.after(course.born) if rule.until_age else rule.until.after(course.brace_start)  # type: ignore[union-attr]
    assert rule.every is not None  # noqa: S101 - only rows come here
    for fixed in later:
        if fixed.every is not None:
            continue
        day = fixed.at_age.after(course.born) if fixed.at_age else fixed.after.after(course.brace_start)  # type: ignore[union-attr]
        stop = min(stop, day - timedelta(days=round(rule.every.about_days / 2)))
    return stop
