"""A child's bracing timeline: a pure function of protocol, course and clinic days."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import UNPLANNED, Course, Fact, FactKind
from bracewatch.schedule.protocol import PhaseRule, Protocol, Variant, VisitRule
from bracewatch.schedule.spans import Span

MAX_VISITS = 200  # no published list comes near; a file that asks for more is mistaken
PAUSE = "paused"
ONE_DAY = timedelta(days=1)
NO_SPAN = Span()


class Phase(NamedTuple):
    """Days from `start` up to, not including, `end`, on which these hours are prescribed.

    A pause is a phase of no hours that asks nothing. (A named tuple, as is Visit: timelines are made by the
    hundred thousand, and a tuple costs a third of an object.)
    """

    key: str
    name: str
    start: date
    end: date
    hours_low: float
    hours_high: float
    gate: str | None  # the decision that ends the phase
    gate_open: bool  # that decision has been made (always true without a gate)
    asks: str  # "hours", "nights" or "nothing"
    check_in_days: int


class Visit(NamedTuple):
    """A visit: the day the protocol asks for, the window round it, and the day chosen.

    `on` is None when no day of the window is open, and when the visit was cancelled. `kept` is the day the
    child came, if it has. `why` says why `on` is not `due`, empty when it is.
    """

    key: str
    name: str
    due: date
    opens: date
    closes: date
    on: date | None
    kept: date | None
    decides: str | None
    booked: bool
    cancelled: bool
    why: str


@dataclass(frozen=True, slots=True)
class Timeline:
    """Phases without gap or overlap from the brace start to `ends_on` (the first day without the brace).

    Visits are in order of their due day; those after `ends_on` follow the child to the end of growth.
    """

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
        found = None
        for phase in self.phases:
            if phase.start <= day < phase.end:
                if phase.key == PAUSE:
                    return phase
                found = found or phase
            elif not phase.gate_open and phase.end <= day < self.ends_on:
                found = found or phase
        return found


def build(protocol: Protocol, course: Course, clinic: ClinicCalendar, as_of: date | None = None) -> Timeline:
    """The timeline of a course.

    Months are counted from the brace start and, behind a gate, from the day it was opened, never from the
    previous result. With `as_of`, a phase whose gate is still shut on that day, and a pause that nobody has
    ended, are drawn up to the day after. Raises ValueError when the protocol has nothing for a child of that
    age and foot.
    """
    variant = protocol.variant_for(course.born, course.brace_start, course.foot)
    phases = _phases(variant, course, as_of)
    if not phases:
        raise ValueError(f"protocol {protocol.id} leaves no day of bracing for a child born {course.born}")
    if course.facts:
        phases = _with_end_and_pauses(phases, course, as_of)
    ends_on = phases[-1].end
    visits = _visits(variant, course, clinic)
    if course.facts:
        ended = course.latest(FactKind.ENDED)
        if ended:
            visits = [visit for visit in visits if visit.kept is not None or (visit.on or visit.due) < ends_on]
    return Timeline(protocol.id, protocol.version, variant.key, tuple(phases), tuple(visits), ends_on)


def changed(before: Timeline, after: Timeline, day: date) -> Timeline:
    """The timeline of a course that moved to another protocol on `day`: what was before it stays as it was.

    Visits that were kept or planned before `day` come from `before`, those due from then on from `after`.
    """
    phases = [phase._replace(end=min(phase.end, day)) for phase in before.phases if phase.start < day]
    held = before.in_force(day - ONE_DAY)
    if phases and held is not None:
        phases[-1] = phases[-1]._replace(end=day)
    phases += [phase._replace(start=max(phase.start, day)) for phase in after.phases if phase.end > day]
    visits = [visit for visit in before.visits if visit.kept is not None or (visit.on or visit.due) < day]
    taken = {visit.key for visit in visits}
    visits += [visit for visit in after.visits if visit.due >= day and visit.key not in taken]
    return Timeline(
        after.protocol_id, after.protocol_version, after.variant, tuple(phases), tuple(visits), phases[-1].end
    )


def _phases(variant: Variant, course: Course, as_of: date | None) -> list[Phase]:
    opened = course.latest(FactKind.GATE_OPENED)
    held = course.latest(FactKind.GATE_HELD)
    phases: list[Phase] = []
    anchor, offset, start = course.brace_start, NO_SPAN, course.brace_start
    for rule in variant.phase:
        decision = opened.get(rule.gate) if rule.gate else None
        end, offset = _planned_end(rule, course.born, anchor, offset)
        if rule.gate and decision is None and (held or as_of is not None):
            earliest = _still_shut_until(held.get(rule.gate), as_of)
            if earliest is not None and earliest > end:
                end = anchor = earliest
                offset = NO_SPAN
        elif decision is not None:
            end = anchor = decision.on
            offset = NO_SPAN
        if end > start:
            phases.append(_phase(rule, start, end, rule.gate is None or decision is not None))
            start = end
    return phases


def _still_shut_until(held: Fact | None, as_of: date | None) -> date | None:
    """The first day on which a gate that nobody has opened could be open."""
    days = [held.until] if held is not None and held.until is not None else []
    days += [as_of + ONE_DAY] if as_of is not None else []
    return max(days, default=None)


def _planned_end(rule: PhaseRule, born: date, anchor: date, offset: Span) -> tuple[date, Span]:
    if rule.until_age is not None:
        return rule.until_age.after(born), offset
    assert rule.lasts is not None  # noqa: S101 - the protocol reader refuses a phase with neither
    offset += rule.lasts
    return offset.after(anchor), offset


def _phase(rule: PhaseRule, start: date, end: date, gate_open: bool) -> Phase:
    low, high = rule.hours
    return Phase(rule.key, rule.name, start, end, low, high, rule.gate, gate_open, rule.asks, rule.check_in.days)


def _with_end_and_pauses(phases: list[Phase], course: Course, as_of: date | None) -> list[Phase]:
    longer = course.latest(FactKind.LENGTHENED)
    if longer:
        until = max(longer.values(), key=lambda fact: fact.number).until
        if until is not None and until > phases[-1].end:
            phases[-1] = phases[-1]._replace(end=until)
    ended = course.all_of(FactKind.ENDED)
    if ended:
        phases = list(_cut(phases, max(ended[0].on, phases[0].start + ONE_DAY)))
    for start, end in _pauses(course, phases[-1].end, as_of):
        phases = list(_without(phases, start, end))
    return phases


def _cut(phases: Iterable[Phase], ends_on: date) -> Iterator[Phase]:
    """The phases up to the end of the course; a gate nobody opened keeps its phase in force until then."""
    for phase in phases:
        last = phase.end >= ends_on or not phase.gate_open
        yield phase._replace(end=ends_on) if last else phase
        if last:
            return


def _pauses(course: Course, ends_on: date, as_of: date | None) -> Iterator[tuple[date, date]]:
    """Days without the brace: from the day it was paused up to, not including, the day it was resumed."""
    paused: date | None = None
    for fact in course.all_of(FactKind.PAUSED, FactKind.RESUMED):
        if fact.kind is FactKind.PAUSED:
            paused = paused or fact.on
        elif paused is not None:
            yield paused, min(fact.on, ends_on)
            paused = None
    if paused is not None:
        yield paused, ends_on if as_of is None else min(max(as_of, paused) + ONE_DAY, ends_on)


def _without(phases: list[Phase], start: date, end: date) -> Iterator[Phase]:
    """The phases with a pause laid over them."""
    start = max(start, phases[0].start)
    laid = False
    for phase in phases:
        if phase.start < start:
            yield phase._replace(end=min(phase.end, start))
        if not laid and start < end and start < phase.end:
            yield Phase(PAUSE, "Brace paused", start, end, 0, 0, None, True, "nothing", 0)
            laid = True
        if phase.end > end:
            yield phase._replace(start=max(phase.start, end))


def _visits(variant: Variant, course: Course, clinic: ClinicCalendar) -> list[Visit]:
    visits = [_plain_visit(key, rule, due, course, clinic) for key, rule, due in _due_days(variant, course)]
    return _with_facts(visits, course) if course.facts else visits


def _plain_visit(key: str, rule: VisitRule, due: date, course: Course, clinic: ClinicCalendar) -> Visit:
    opens, closes = rule.opens.before(due), rule.closes.after(due)
    opens = max(opens, course.brace_start)
    on = clinic.nearest_open(due, opens, closes)
    why = "" if on == due else clinic.why_closed(due)
    return Visit(key, rule.name, due, opens, closes, on, None, rule.decides, False, False, why)


def _with_facts(visits: list[Visit], course: Course) -> list[Visit]:
    plans = course.latest(FactKind.VISIT_BOOKED, FactKind.VISIT_CANCELLED)
    kept = {fact.about: fact.on for fact in course.latest(FactKind.VISIT_KEPT).values() if fact.about != UNPLANNED}
    extra = []
    for fact in course.all_of(FactKind.VISIT_KEPT):
        if fact.about == UNPLANNED:
            key = _satisfied_by(fact.on, visits, kept)
            if key is None:
                extra.append(fact.on)
            else:
                kept[key] = fact.on
    shown = []
    for visit in visits:
        plan = plans.get(visit.key)
        if plan is not None and plan.kind is FactKind.VISIT_BOOKED:
            visit = visit._replace(on=plan.on, booked=True, why=_why_booked(visit, plan.on))
        elif plan is not None:
            visit = visit._replace(on=None, cancelled=True, why="cancelled")
        shown.append(visit._replace(kept=kept.get(visit.key)))
    for number, day in enumerate(extra, 1):
        shown.append(Visit(f"unplanned-{number}", "Unplanned visit", day, day, day, day, day, None, True, False, ""))
    return sorted(shown, key=lambda visit: visit.due) if extra else shown


def _why_booked(visit: Visit, on: date) -> str:
    if on == visit.on:
        return visit.why
    outside = "" if visit.opens <= on <= visit.closes else ", outside its window"
    return f"the clinic chose this day{outside}"


def _satisfied_by(day: date, visits: list[Visit], kept: dict[str, date]) -> str | None:
    """The planned visit whose window an unplanned one falls in, the nearest of several; None for none."""
    fitting = [visit for visit in visits if visit.opens <= day <= visit.closes and visit.key not in kept]
    return min(fitting, key=lambda visit: abs(visit.due - day)).key if fitting else None


def _due_days(variant: Variant, course: Course) -> Iterator[tuple[str, VisitRule, date]]:
    """Key, rule and due day of each visit. Rows of visits count on, in months from the brace start, from the
    visit before them, or from an age."""
    offset = NO_SPAN
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
            anchor = course.brace_start if rule.from_age is None else course.born
            span = offset if rule.from_age is None else rule.from_age
            stop = _row_ends(rule, course, variant.visit[place + 1 :])
            for number in range(1, MAX_VISITS):
                span += rule.every
                due = span.after(anchor)
                if due > stop:
                    break
                if due > course.brace_start:
                    yield f"{rule.key}-{number}", rule, due
                if rule.from_age is None:
                    offset = span


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
