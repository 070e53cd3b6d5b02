"""Random courses whose facts do not contradict each other, for the properties of timelines."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import UNPLANNED, Course, Fact, FactKind, contradictions
from bracewatch.schedule.plausible import against_plan
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline, build

_ABOUT_VISITS = (
    FactKind.VISIT_KEPT,
    FactKind.VISIT_BOOKED,
    FactKind.VISIT_CANCELLED,
    FactKind.VISIT_RELEASED,
    FactKind.VISIT_HELD,
)
# What `against_plan` may refuse.
_OF_THE_PLAN = (FactKind.GATE_OPENED, FactKind.GATE_TAKEN_BACK, FactKind.PAUSED, FactKind.RESUMED, FactKind.LENGTHENED)
ROUTINE = ("nights-to-four", "graded-step-down", "sleep-to-five")
A_COURSE = 6 * 366  # days in which most courses have ended, and some days over


class History(NamedTuple):
    """A course, whose rules it follows, at which clinic, and the day it is looked at (None: as planned)."""

    rules: Protocol
    course: Course
    clinic: ClinicCalendar
    as_of: date | None

    def timeline(self) -> Timeline:
        return build(self.rules, self.course, self.clinic, self.as_of)

    def with_facts(self, *facts: Fact) -> History:
        return self._replace(course=Course(self.course.born, self.course.brace_start, facts, self.course.foot))


# Offsets in days from the brace start; hypothesis keeps them small in what it reports.
OFFSETS = st.integers(0, A_COURSE)


@st.composite
def clinics(draw: st.DrawFn) -> ClinicCalendar:
    weekdays = draw(st.frozensets(st.integers(0, 6), min_size=1))
    closed = draw(st.dictionaries(st.dates(date(2018, 1, 1), date(2046, 1, 1)), st.just("stocktaking"), max_size=12))
    country, region = draw(st.sampled_from([(None, None), ("KE", None), ("EG", None), ("BR", "SP")]))
    return ClinicCalendar(weekdays, closed, country=country, region=region)


@st.composite
def histories(draw: st.DrawFn) -> History:
    """Gates opened and held, pauses, lengthening and an end, visits kept, booked and cancelled."""
    rules = protocol.shipped(draw(st.sampled_from(ROUTINE)))
    born = draw(st.dates(date(2018, 1, 1), date(2027, 1, 1)))
    start = born + timedelta(draw(st.integers(0, 3 * 365)))
    plain = History(rules, Course(born, start), draw(clinics()), None)
    plan = plain.timeline()
    gates = sorted({phase.gate for phase in plan.phases if phase.gate})
    told = [fact for gate in gates for fact in draw(_gates(gate))]
    told += [*draw(_pauses()), *draw(_ends()), *draw(_visits([visit.key for visit in plan.visits]))]
    numbers = draw(st.permutations(range(len(told))))
    facts = [
        Fact(number, kind, start + timedelta(on), about, start + timedelta(until) if until is not None else None)
        for number, (kind, on, about, until) in zip(numbers, told, strict=True)
    ]
    as_of = draw(st.none() | OFFSETS.map(lambda days: start + timedelta(days)))
    history = plain.with_facts(*_without_contradictions(start, facts))
    if against_plan(rules, history.course):
        kept = [fact for fact in history.course.facts if fact.kind not in _OF_THE_PLAN]
        history = plain.with_facts(*kept)
    assert contradictions(start, history.course.facts) == []
    return history._replace(as_of=as_of)


Told = list[tuple[FactKind, int, str, int | None]]


@st.composite
def _gates(draw: st.DrawFn, gate: str) -> Told:
    told: Told = []
    for on in draw(st.lists(st.integers(0, 2000), max_size=2)):
        told.append((FactKind.GATE_HELD, on, gate, on + draw(st.integers(1, 200))))
    if draw(st.booleans()):
        told.append((FactKind.GATE_OPENED, draw(st.integers(1, 2000)), gate, None))
    if draw(st.integers(0, 9)) == 0:
        told.append((FactKind.GATE_TAKEN_BACK, draw(st.integers(1, 2000)), gate, None))
    return told


@st.composite
def _pauses(draw: st.DrawFn) -> Told:
    days = sorted(draw(st.sets(OFFSETS, max_size=5)))
    kinds = (FactKind.PAUSED, FactKind.RESUMED)
    return [(kinds[place % 2], day, "skin" if place % 2 == 0 else "", None) for place, day in enumerate(days)]


@st.composite
def _ends(draw: st.DrawFn) -> Told:
    told: Told = []
    if draw(st.booleans()):
        on = draw(OFFSETS)
        told.append((FactKind.LENGTHENED, on, "", on + draw(st.integers(1, 900))))
    if draw(st.booleans()):
        told.append((FactKind.ENDED, draw(OFFSETS), draw(st.sampled_from(["relapse", "clinic"])), None))
    if draw(st.integers(0, 9)) == 0:
        told.append((FactKind.END_TAKEN_BACK, draw(OFFSETS), "", None))
    return told


def _visits(keys: list[str]) -> st.SearchStrategy[Told]:
    visit = st.tuples(
        st.sampled_from(_ABOUT_VISITS),
        OFFSETS,
        st.sampled_from(keys),
        st.none(),
    )
    unplanned = st.tuples(st.just(FactKind.VISIT_KEPT), OFFSETS, st.just(UNPLANNED), st.none())
    return st.lists(visit | unplanned, max_size=6)


def _without_contradictions(start: date, facts: list[Fact]) -> list[Fact]:
    """The facts in the order of their days, without those that contradict one before."""
    kept: list[Fact] = []
    for fact in sorted(facts, key=lambda one: (one.on, one.number)):
        if not contradictions(start, [*kept, fact]):
            kept.append(fact)
    return kept
