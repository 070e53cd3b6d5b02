"""Typed facts held against the plan in force on their day: that of the protocol, from a move on the moved one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from bracewatch.cli.typed_facts import unknown_in
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.plausible import after_the_end, against_plan, decided_too_early
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline, build, moved

Move = tuple[Protocol, date]  # to which protocol, and from which day on

_ANY_DAY = ClinicCalendar()
_TAKEN_BACK = (FactKind.GATE_TAKEN_BACK, FactKind.END_TAKEN_BACK)


def faults_of_move(move: Move | None, course: Course) -> list[str]:
    """Why a course cannot move so; empty when it can, and without a move."""
    if move is None:
        return []
    rules, day = move
    if day <= course.brace_start:
        return [f"--move: {day} is not after the brace start {course.brace_start}: plan with that protocol instead"]
    try:
        rules.variant_for(course.born, course.brace_start, course.foot)
    except ValueError as error:
        return [f"--move: {error}"]
    return []


def faults_of_course(rules: Protocol, course: Course, move: Move | None, known: list[str]) -> list[str]:
    """Why the protocol has no plan for this child, what facts are about that no plan of the course has, and, where
    nothing is wrong with them yet, what contradicts the plan."""
    try:
        plans = list(_plans(rules, replace(course, facts=()), move))
    except ValueError as error:
        return [str(error)]
    try:
        plans += _plans(rules, course, move)
    except ValueError as error:  # a decision that leaves no day of bracing
        return unknown_in(course.facts, plans) or ([] if known else [str(error)])
    faults = unknown_in(course.facts, plans)
    return faults or ([] if known else list(filter(None, _contradictions(rules, course, move))))


def _plans(rules: Protocol, course: Course, move: Move | None) -> Iterator[Timeline]:
    plan = build(rules, course, _ANY_DAY)
    yield plan
    if move is not None:
        yield moved(plan, move[0], course, _ANY_DAY, move[1])


def _contradictions(rules: Protocol, course: Course, move: Move | None) -> Iterator[str]:
    if move is None:
        yield from against_plan(rules, course)
        return
    day = move[1]
    before = tuple(fact for fact in course.facts if fact.on < day or fact.kind in _TAKEN_BACK)
    yield from against_plan(rules, replace(course, facts=before))
    for fact in (*course.opened().values(), *course.all_of(FactKind.LENGTHENED, FactKind.PAUSED, FactKind.RESUMED)):
        if fact.on >= day:
            *_, plan = _plans(rules, _without(course, fact), move)
            decided = fact.kind is FactKind.GATE_OPENED
            yield decided_too_early(plan, fact.about, fact.on) if decided else after_the_end(plan, fact)


def _without(course: Course, word: Fact) -> Course:
    """The course before that word, and the later ones on the same thing, were said."""
    facts = course.all_of(word.kind)
    later = {fact for fact in facts[facts.index(word) :] if fact.about == word.about}
    return replace(course, facts=tuple(fact for fact in course.facts if fact not in later))
