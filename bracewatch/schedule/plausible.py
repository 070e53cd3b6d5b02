"""What contradicts the plan a course follows: decisions before their phase, pauses after the end."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline, build

LENGTHENED_LATE = timedelta(days=60)  # the visit at the end may be late; after that it is a new course
_ANY_DAY = ClinicCalendar()


def against_plan(protocol: Protocol, course: Course) -> list[str]:
    """What among the facts of a course cannot be under this protocol, one sentence each; empty when all can.

    `facts.contradictions` finds what contradicts another fact. Raises ValueError as `build` does.
    """
    faults = []
    for gate, word in course.opened().items():
        others = tuple(fact for fact in course.facts if not (fact.kind is word.kind and fact.about == gate))
        undecided = build(protocol, replace(course, facts=others), _ANY_DAY)
        faults.append(decided_too_early(undecided, gate, word.on))
    lengthened = course.all_of(FactKind.LENGTHENED)
    for place, word in enumerate(lengthened):
        others = tuple(fact for fact in course.facts if fact not in lengthened[place:])
        faults.append(after_the_end(build(protocol, replace(course, facts=others), _ANY_DAY), word))
    timeline = build(protocol, course, _ANY_DAY)
    faults += [after_the_end(timeline, fact) for fact in course.all_of(FactKind.PAUSED, FactKind.RESUMED)]
    return [fault for fault in faults if fault]


def decided_too_early(timeline: Timeline, gate: str, on: date) -> str:
    """Why a decision on that day cannot be: the phase it ends had no day yet. Empty when it can."""
    begins = next((phase.start for phase in timeline.phases if phase.gate == gate), None)
    if begins is None or on > begins:
        return ""
    return f"the decision {gate!r} on {on} would leave no day of the phase it ends, which begins {begins}"


def after_the_end(timeline: Timeline, fact: Fact) -> str:
    """Why the brace cannot have been paused, resumed or lengthened then: bracing was over. Empty when it can.

    The timeline does not have a lengthening that is asked about.
    """
    ends_on = timeline.ends_on
    if fact.kind is FactKind.LENGTHENED and fact.on > ends_on + LENGTHENED_LATE:
        return f"lengthened on {fact.on}, but bracing ended on {ends_on}: the brace is on again as a new course"
    if fact.kind is FactKind.PAUSED and fact.on >= ends_on:
        return f"paused on {fact.on}, but bracing ended on {ends_on}"
    if fact.kind is FactKind.RESUMED and fact.on > ends_on:
        return f"resumed on {fact.on}, but bracing ended on {ends_on}: say first until when it was lengthened"
    return ""
