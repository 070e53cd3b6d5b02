"""What has happened in a bracing course, as dates."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from bracewatch.schedule.spans import add_months

MAX_MONTHS_AHEAD = 12


class FactKind(StrEnum):
    VISIT_KEPT = "visit_kept"  # about: the visit's key
    VISIT_MOVED = "visit_moved"  # about: the visit's key; `on` is the new day
    GATE_OPENED = "gate_opened"  # about: the gate's key; the clinic's decision, from that day on
    ENDED = "ended"  # about: why, e.g. "relapse"


@dataclass(frozen=True, slots=True, order=True)
class Fact:
    """One thing that happened. `number` tells which of two facts about the same thing is the later word."""

    number: int
    kind: FactKind
    on: date
    about: str


@dataclass(frozen=True, slots=True)
class Course:
    """One stretch of bracing: from the day the last cast came off.

    `facts` may come in any order; the timeline is the same.
    """

    born: date
    brace_start: date
    facts: tuple[Fact, ...] = ()

    def latest(self, kind: FactKind) -> dict[str, Fact]:
        """The last word on each thing of that kind, by what it is about."""
        return {fact.about: fact for fact in sorted(self.facts) if fact.kind is kind}


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
    faults += [
        f"{fact.kind.value.replace('_', ' ')} ({fact.about}) on {fact.on} is before the brace start {brace_start}"
        for fact in facts
        if fact.on < brace_start
    ]
    return faults
