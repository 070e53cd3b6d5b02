"""What has happened in a bracing course, as dates; and what cannot have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from operator import attrgetter

from bracewatch.schedule.spans import add_months

MAX_MONTHS_AHEAD = 12
_NUMBER = attrgetter("number")
UNPLANNED = ""  # what a kept visit is about when nobody said which visit it was


class FactKind(StrEnum):
    VISIT_KEPT = "visit_kept"  # about: the visit's key, or UNPLANNED
    VISIT_BOOKED = "visit_booked"  # about: the visit's key; `on` is the day
    VISIT_HELD = "visit_held"  # as booked, by the program sixty days ahead: it counts while it is in the window
    VISIT_CANCELLED = "visit_cancelled"  # about: the visit's key; it is nobody's miss
    VISIT_RELEASED = "visit_released"  # about: the visit's key; its day is given up, and the calendar chooses again
    GATE_OPENED = "gate_opened"  # about: the gate; the clinic's decision, from that day on
    GATE_HELD = "gate_held"  # about: the gate; the clinic decided against it, at least until `until`
    GATE_TAKEN_BACK = "gate_taken_back"  # about: the gate; it was opened by mistake
    PAUSED = "paused"  # about: why, e.g. "skin"; the brace is off from that day on
    RESUMED = "resumed"  # the brace is on again from that day
    LENGTHENED = "lengthened"  # bracing goes on up to, not including, `until`
    ENDED = "ended"  # about: why, e.g. "relapse"; that day is the first without the brace
    END_TAKEN_BACK = "end_taken_back"  # the end was written down by mistake


MAY_LIE_AHEAD = frozenset({FactKind.VISIT_BOOKED, FactKind.VISIT_HELD, FactKind.ENDED})  # plans; the rest has happened


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that happened. `number` tells which of two facts about the same thing is the later word.

    `until` belongs to GATE_HELD and LENGTHENED only.
    """

    number: int
    kind: FactKind
    on: date
    about: str = ""
    until: date | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """One stretch of bracing: from the day the last cast came off.

    `facts` may come in any order; the timeline is the same.
    """

    born: date
    brace_start: date
    facts: tuple[Fact, ...] = ()
    foot: str = "typical"

    def latest(self, *kinds: FactKind) -> dict[str, Fact]:
        """The last word of those kinds on each thing, by what it is about."""
        if not self.facts:
            return {}
        chosen = [fact for fact in self.facts if fact.kind in kinds]
        if len(chosen) > 1:
            chosen.sort(key=_NUMBER)
        return {fact.about: fact for fact in chosen}

    def opened(self) -> dict[str, Fact]:
        """The decision that opened each gate: the last word, unless it was taken back since."""
        words = self.latest(FactKind.GATE_OPENED, FactKind.GATE_TAKEN_BACK)
        return {gate: word for gate, word in words.items() if word.kind is FactKind.GATE_OPENED}

    def end(self) -> Fact | None:
        """The end of bracing by the clinic's word: the last one, unless it was taken back since."""
        words = [fact for fact in self.facts if fact.kind in (FactKind.ENDED, FactKind.END_TAKEN_BACK)]
        word = max(words, key=_NUMBER, default=None)
        return word if word is not None and word.kind is FactKind.ENDED else None

    def all_of(self, *kinds: FactKind) -> list[Fact]:
        """The facts of those kinds by day, then number."""
        return sorted((fact for fact in self.facts if fact.kind in kinds), key=lambda fact: (fact.on, fact.number))


def faults_in(born: date, brace_start: date, today: date, facts: Iterable[Fact] = ()) -> list[str]:
    """Why these dates cannot be, one sentence each; empty when they can."""
    faults = []
    if born > today:
        faults.append(f"birth date {born} is in the future (today is {today})")
    if brace_start < born:
        faults.append(f"brace start {brace_start} is before birth {born}")
    if brace_start > add_months(today, MAX_MONTHS_AHEAD):
        faults.append(f"brace start {brace_start} is more than a year ahead (today is {today})")
    if add_months(born, 12 * 18) < brace_start:
        faults.append(f"brace start {brace_start} is more than 18 years after birth {born}")
    return faults + contradictions(brace_start, facts)


def contradictions(brace_start: date, facts: Iterable[Fact]) -> list[str]:
    """What contradicts what among the facts of one course, one sentence each; empty when nothing does."""
    ordered = sorted(facts, key=lambda fact: (fact.on, fact.number))
    faults = [
        f"{in_words(fact)} on {fact.on} is before the brace start {brace_start}"
        for fact in ordered
        if fact.on < brace_start
    ]
    faults += [
        f"{in_words(fact)} on {fact.on} lasts until {fact.until}, which is not after it"
        for fact in ordered
        if fact.until is not None and fact.until <= fact.on
    ]
    faults += [
        f"{in_words(fact)} on {fact.on} does not say until when"
        for fact in ordered
        if fact.kind in (FactKind.GATE_HELD, FactKind.LENGTHENED) and fact.until is None
    ]
    course = Course(brace_start, brace_start, tuple(ordered))
    return (
        faults
        + _written_twice(ordered)
        + _broken_pauses(ordered)
        + _wrongly_held_or_taken_back(course)
        + _after_the_end(course)
    )


def _wrongly_held_or_taken_back(course: Course) -> list[str]:
    """Steps held on or after the day they were made, and what was taken back without having been said."""
    opened = course.opened()
    return (
        [
            f"{in_words(fact)} on {fact.on}, but the step was made on {made.on}: take that back first"
            for fact in course.all_of(FactKind.GATE_HELD)
            if (made := opened.get(fact.about)) is not None and fact.on >= made.on
        ]
        + [
            f"{in_words(fact)}, but it was not open"
            for fact in course.all_of(FactKind.GATE_TAKEN_BACK)
            if not _said_before(course, fact, FactKind.GATE_OPENED)
        ]
        + [
            f"{in_words(fact)} on {fact.on}, but it had not ended"
            for fact in course.all_of(FactKind.END_TAKEN_BACK)
            if not _said_before(course, fact, FactKind.ENDED)
        ]
    )


def _said_before(course: Course, taken_back: Fact, kind: FactKind) -> bool:
    about = {taken_back.about} if kind is FactKind.GATE_OPENED else {fact.about for fact in course.facts}
    return any(fact.kind is kind and fact.about in about and fact.number < taken_back.number for fact in course.facts)


def _written_twice(ordered: list[Fact]) -> list[str]:
    """An unplanned visit on the day of another: a child comes once a day."""
    kept = {fact.about: fact.on for fact in sorted(ordered, key=_NUMBER) if fact.kind is FactKind.VISIT_KEPT}
    days = Counter(fact.on for fact in ordered if fact.kind is FactKind.VISIT_KEPT and fact.about == UNPLANNED)
    days.update(day for about, day in kept.items() if about != UNPLANNED and day in days)
    return [
        f"visit kept on {day} without a booking: that day is written down {count} times"
        for day, count in days.items()
        if count > 1
    ]


def _broken_pauses(ordered: list[Fact]) -> list[str]:
    faults = []
    paused: Fact | None = None
    for fact in ordered:
        if fact.kind is FactKind.PAUSED:
            if paused is not None:
                faults.append(f"paused on {fact.on}, but it was paused already since {paused.on}")
            paused = fact
        elif fact.kind is FactKind.RESUMED:
            if paused is None:
                faults.append(f"resumed on {fact.on}, but it was not paused then")
            elif fact.on <= paused.on:
                faults.append(f"resumed on {fact.on}, the day it was paused: a pause lasts a day at least")
            paused = None
    return faults


def _after_the_end(course: Course) -> list[str]:
    end = course.end()
    if end is None:
        return []
    brace_facts = (FactKind.GATE_OPENED, FactKind.GATE_HELD, FactKind.PAUSED, FactKind.RESUMED, FactKind.LENGTHENED)
    return [
        f"{in_words(fact)} on {fact.on} is after the end of bracing on {end.on}"
        for fact in course.all_of(*brace_facts)
        if fact.on > end.on
    ]


def ahead_of(day: date, facts: Iterable[Fact]) -> list[Fact]:
    """The facts that cannot be known on that day, by day: they have not happened yet."""
    ahead = [fact for fact in facts if fact.on > day and fact.kind not in MAY_LIE_AHEAD]
    return sorted(ahead, key=lambda fact: (fact.on, fact.number))


def in_words(fact: Fact) -> str:
    """What kind of fact it is and what it is about, as in "gate opened (step-down)"."""
    name = fact.kind.value.replace("_", " ")
    return f"{name} ({fact.about})" if fact.about else name
