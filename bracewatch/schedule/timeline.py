"""A child's bracing timeline: a pure function of protocol, course and clinic days."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import count
from operator import itemgetter
from typing import NamedTuple

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import UNPLANNED, Course, Fact, FactKind
from bracewatch.schedule.protocol import Protocol, Variant
from bracewatch.schedule.spans import days_after
from bracewatch.schedule.visit_days import Lengthened, due_days

PAUSE = "paused"
RELAPSE = "relapse"
NO_LONGER_PLANNED = "Visit that is no longer planned"
ONE_DAY = timedelta(days=1)
_ENDS_AND_PAUSES = {FactKind.LENGTHENED, FactKind.ENDED, FactKind.PAUSED, FactKind.RESUMED}
_OF_VISITS = {FactKind.VISIT_BOOKED, FactKind.VISIT_HELD, FactKind.VISIT_CANCELLED, FactKind.VISIT_RELEASED}


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
    shut: str = ""  # why the clinic is closed on the day that was booked or held, empty when it is not


_DUE = itemgetter(Visit._fields.index("due"))


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
    end, lengthened = _ends(variant, course, phases, as_of)
    kinds = {fact.kind for fact in course.facts}
    if kinds & _ENDS_AND_PAUSES:
        phases = _with_end_and_pauses(phases, course, as_of)
    ends_on = phases[-1].end
    visits = _visits(variant, course, clinic, end, lengthened)
    if FactKind.ENDED in kinds and course.end() is not None:
        visits = _up_to_the_end(variant, course, clinic, visits, ends_on)
    if FactKind.VISIT_KEPT in kinds:
        visits = _with_others(visits, course)
    return Timeline(protocol.id, protocol.version, variant.key, tuple(phases), tuple(visits), ends_on)


def _ends(
    variant: Variant, course: Course, phases: list[Phase], as_of: date | None
) -> tuple[date, tuple[Lengthened, ...]]:
    """The day on which bracing ends by protocol and lengthening, and the earlier ends, for `due_days`.

    Waiting for a decision does not move it: its visits would move every day.
    """
    end = phases[-1].end
    if as_of is not None and not all(phase.gate_open for phase in phases):
        end = (_phases(variant, course, None) or phases)[-1].end
    words = course.all_of(FactKind.LENGTHENED)
    if not words:
        return end, ()
    planned, earlier = end, []
    opens = next((rule.opens for rule in variant.visit if rule.at_end), None)
    for word in words:
        until = max(planned, word.until or planned)
        if until > end:
            earlier.append(Lengthened(end, word.on, opens is not None and opens.before(end) <= word.on))
        end = until
    return end, tuple(one for one in earlier if one.end < end)


def _up_to_the_end(
    variant: Variant, course: Course, clinic: ClinicCalendar, visits: list[Visit], ends_on: date
) -> list[Visit]:
    """The visits of a course that ended by the clinic's word: those before that day, those that were kept, and,
    unless the next course begins with visits of its own, the follow-up counted from that day."""
    before = [visit for visit in visits if visit.kept is not None or (visit.on or visit.due) < ends_on]
    end = course.end()
    if end is not None and end.about == RELAPSE:
        return before
    follow_up = {rule.key for rule in variant.visit if rule.from_end or rule.from_age or rule.at_age}
    after = _visits(variant, course, clinic, ends_on)
    return sorted(
        [visit for visit in before if not _belongs(visit, follow_up)]
        + [visit for visit in after if _belongs(visit, follow_up) and (visit.kept is not None or visit.due > ends_on)],
        key=_DUE,
    )


def _belongs(visit: Visit, rules: set[str]) -> bool:
    return visit.key in rules or visit.key.rpartition("-")[0] in rules


def moved(
    before: Timeline, protocol: Protocol, course: Course, clinic: ClinicCalendar, day: date, as_of: date | None = None
) -> Timeline:
    """The timeline of a course that follows `protocol`, or has these other dates, from `day` on.

    `before` is its timeline until then: what was before `day` stays as it was. A visit ahead whose key a past visit
    has already is called by that key and a number, as in "follow-up-3.2"; facts about it say so. Raises ValueError
    as `build` does.
    """
    past = {visit.key for visit in before.visits if _was_before(visit, day)}
    names = {key: _next_name(key, past) for key in past}
    keys = {name: key for key, name in names.items()}
    ahead = tuple(
        replace(fact, about=keys.get(fact.about, fact.about))
        for fact in course.facts
        if not (fact.kind in _OF_VISITS or fact.kind is FactKind.VISIT_KEPT)
        or (fact.about not in past if fact.about != UNPLANNED else fact.on >= day)
    )
    after = build(protocol, replace(course, facts=ahead), clinic, as_of)
    visits = tuple(visit._replace(key=names.get(visit.key, visit.key)) for visit in after.visits)
    return _joined(before, replace(after, visits=visits), day)


def _next_name(key: str, taken: set[str]) -> str:
    return next(name for number in count(2) if (name := f"{key}.{number}") not in taken)


def _joined(before: Timeline, after: Timeline, day: date) -> Timeline:
    """What was before `day` from the one timeline, what is from then on from the other."""
    turn = min(day, before.ends_on)
    phases = _lived(before, turn)
    phases += [phase._replace(start=max(phase.start, turn)) for phase in after.phases if phase.end > turn]
    known = {visit.key: visit for visit in before.visits if _was_before(visit, day)}
    known.update((visit.key, visit) for visit in after.visits if not _was_before(visit, day))
    for visit in before.visits:  # kept since then, though only the old plan has such a visit
        if visit.kept is not None and _is_missing(visit, known):
            known[visit.key] = visit
    visits = tuple(sorted(known.values(), key=_DUE))
    return Timeline(after.protocol_id, after.protocol_version, after.variant, tuple(phases), visits, phases[-1].end)


def _lived(before: Timeline, day: date) -> list[Phase]:
    """The phases up to `day` as they were in force. None of them waits for a decision any more."""
    phases: list[Phase] = []
    held: Phase | None = None
    for phase in before.phases:
        if phase.start >= day:
            break
        lived = phase if held is None or phase.key == PAUSE else held
        if held is None and not phase.gate_open:
            held = phase
        if phases and phases[-1].key == lived.key:
            phases[-1] = phases[-1]._replace(end=min(phase.end, day))
        else:
            phases.append(lived._replace(start=phase.start, end=min(phase.end, day), gate_open=True))
    return phases


def _is_missing(visit: Visit, known: dict[str, Visit]) -> bool:
    """Whether a kept visit is not among the known ones, or only as one that the plan does not have."""
    if visit.key in known:
        return known[visit.key].name == NO_LONGER_PLANNED
    return all(one.kept != visit.kept for one in known.values())


def _was_before(visit: Visit, day: date) -> bool:
    planned = visit.on or visit.due
    return planned < day or (visit.kept is not None and visit.kept < day)


def _phases(variant: Variant, course: Course, as_of: date | None) -> list[Phase]:
    opened = course.opened() if course.facts else {}
    phases: list[Phase] = []
    start = anchor = course.brace_start
    months = days = 0  # from the anchor to the end of the phase
    for rule in variant.phase:
        gate, lasts = rule.gate, rule.lasts
        if lasts is not None:
            months += lasts.months
            days += lasts.days
            end = days_after(anchor, months, days)
        else:
            end = max(start, rule.until_age.after(course.born))  # type: ignore[union-attr]
            anchor, months, days = end, 0, 0
        decision = None
        if gate is not None:
            decision = opened.get(gate)
            at_gate = decision.on if decision is not None else _could_open(gate, end, course, as_of)
            if decision is not None or at_gate > end:
                end = anchor = at_gate
                months = days = 0
        if end > start:
            low, high = rule.hours
            is_open = gate is None or decision is not None
            phases.append(
                Phase(rule.key, rule.name, start, end, low, high, gate, is_open, rule.asks, rule.check_in.days)
            )
            start = end
    return phases


def _could_open(gate: str, planned: date, course: Course, as_of: date | None) -> date:
    """The first day, not before the planned one, on which a gate that nobody has opened could be open."""
    held = course.latest(FactKind.GATE_HELD).get(gate)
    if held is not None and held.until is not None:
        planned = max(planned, held.until)
    return planned if as_of is None else max(planned, as_of + ONE_DAY)


def _with_end_and_pauses(phases: list[Phase], course: Course, as_of: date | None) -> list[Phase]:
    lengthened = course.all_of(FactKind.LENGTHENED)
    if lengthened:  # the last word counts, by the day of the decision
        until = lengthened[-1].until
        if until is not None and until > phases[-1].end:
            phases[-1] = phases[-1]._replace(end=until)
    end = course.end()
    if end is not None:
        phases = list(_cut(phases, max(end.on, phases[0].start + ONE_DAY)))
    for paused, resumed in _pauses(course, phases[-1].end, as_of):
        phases = list(_without(phases, paused, resumed))
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


def _visits(
    variant: Variant, course: Course, clinic: ClinicCalendar, ends_on: date, lengthened: tuple[Lengthened, ...] = ()
) -> list[Visit]:
    """The planned visits, kept, booked and cancelled as is known, of bracing that ends on that day."""
    visits: list[Visit] = []
    brace_start = course.brace_start
    kept = {about: fact.on for about, fact in course.latest(FactKind.VISIT_KEPT).items()}
    new = tuple.__new__  # half the time of calling Visit
    for (rule, _, windows, _, _), keys, days in due_days(variant, course.born, brace_start, ends_on, lengthened):
        past = bisect_right(days, brace_start)  # no visit is held on or before the brace start
        if past:
            keys, days = keys[past:], days[past:]
        name, decides = rule.name, rule.decides
        chosen = zip(keys, clinic.choose_each(windows, days, brace_start), strict=False)
        visits += [
            new(Visit, (key, name, due, opens, closes, on, kept.get(key), decides, False, False, why, ""))
            for key, (due, opens, closes, on, why) in chosen
        ]
    visits.sort(key=_DUE)  # a protocol names them in any order
    return _with_plans(visits, course, clinic) if course.facts else visits


def _with_plans(visits: list[Visit], course: Course, clinic: ClinicCalendar) -> list[Visit]:
    """The visits, booked, held and cancelled as was said last. A day that was held counts while it is in the window:
    nobody chose it, and the visit may have moved."""
    plans = course.latest(*_OF_VISITS)
    if plans:
        for place, visit in enumerate(visits):
            plan = plans.get(visit.key)
            if plan is None or plan.kind is FactKind.VISIT_RELEASED:
                continue
            if plan.kind is FactKind.VISIT_CANCELLED:
                visits[place] = visit._replace(on=None, cancelled=True, why="cancelled")
            elif plan.kind is FactKind.VISIT_BOOKED or visit.opens <= plan.on <= visit.closes:
                # A weekday that somebody chose is meant; a closed day has come since, or was overlooked.
                held = plan.kind is FactKind.VISIT_HELD
                shut = clinic.why_shut(plan.on) if held else clinic.closing(plan.on)
                visits[place] = visit._replace(on=plan.on, booked=True, why=_why_booked(visit, plan), shut=shut)
    return visits


def _with_others(visits: list[Visit], course: Course) -> list[Visit]:
    """Every visit that was kept: each unplanned one as the planned one whose window it falls in, else as one of
    its own; a planned one that the plan no longer has as it was kept."""
    kept = course.latest(FactKind.VISIT_KEPT)
    missing = kept.keys() - {visit.key for visit in visits}
    if not missing:
        return visits
    extra = {about: _as_kept(about, NO_LONGER_PLANNED, kept[about].on) for about in missing if about != UNPLANNED}
    for fact in course.all_of(FactKind.VISIT_KEPT):
        if fact.about == UNPLANNED:
            place = _satisfied_by(fact.on, visits)
            if place is None:
                key = f"unplanned-{fact.on}"
                extra[key] = _as_kept(key, "Unplanned visit", fact.on)
            else:
                visits[place] = visits[place]._replace(kept=fact.on)
    return sorted([*visits, *extra.values()], key=_DUE) if extra else visits


def _as_kept(key: str, name: str, day: date) -> Visit:
    return Visit(key, name, day, day, day, day, day, None, True, False, "")


def _why_booked(visit: Visit, plan: Fact) -> str:
    if plan.on == visit.on:
        return visit.why
    if plan.kind is FactKind.VISIT_HELD:
        return "held on this day" if plan.on != visit.due else ""
    outside = "" if visit.opens <= plan.on <= visit.closes else ", outside its window"
    return f"the clinic chose this day{outside}"


def _satisfied_by(day: date, visits: list[Visit]) -> int | None:
    """The place of the planned visit whose window an unplanned one falls in, the nearest of several; None for none."""
    fitting = [place for place, visit in enumerate(visits) if visit.opens <= day <= visit.closes and visit.kept is None]
    return min(fitting, key=lambda place: abs(visits[place].due - day), default=None)
