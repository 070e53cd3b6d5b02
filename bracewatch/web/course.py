"""A child's bracing course in words for the pages: the phase, the hours, and what became of each visit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from bracewatch.review import Case
from bracewatch.review.flag import in_words
from bracewatch.schedule.timeline import PAUSE, Phase, Timeline, Visit
from bracewatch.web.words import hours, months_between


class VisitState(StrEnum):
    KEPT = "kept"
    LATE = "late"
    MISSED = "missed"
    PLANNED = "planned"
    CANCELLED = "cancelled"
    NOT_OURS = "before enrolment"


@dataclass(frozen=True, slots=True)
class VisitLine:
    """A visit, what became of it, and what can be written down about it.

    `decision` says what the clinic may decide there, None when nothing, or when it has been decided.
    """

    visit: Visit
    day: date  # kept on, else planned for, else due
    state: VisitState
    words: str
    decision: str | None
    may_be_kept: bool

    @property
    def may_be_moved(self) -> bool:
        return self.visit.kept is None and self.state is not VisitState.NOT_OURS


def phase_in_short(timeline: Timeline, day: date) -> str:
    """The phase of that day, as in "Full time, day 34" or "Nights and naps, month 14"."""
    phase = timeline.in_force(day)
    if phase is None:
        start = timeline.phases[0].start
        return f"Brace starts {in_words(start)}" if day < start else f"Bracing ended {in_words(timeline.ends_on)}"
    if phase.key == PAUSE:
        return f"Brace paused since {in_words(phase.start)}"
    if phase.asks == "hours":
        late = ", step down not decided" if _overdue(timeline, phase, day) else ""
        return f"{phase.name}, day {(day - phase.start).days + 1}{late}"
    return f"{phase.name}, month {months_between(phase.start, day) + 1}"


def _overdue(timeline: Timeline, phase: Phase, day: date) -> bool:
    """Whether the visit that decides the end of this phase was due before that day, and nothing is decided."""
    if phase.gate is None or phase.gate_open:
        return False
    return any(visit.decides == phase.gate and visit.due < day for visit in timeline.visits)


def hours_in_words(timeline: Timeline, day: date) -> str:
    """What is prescribed on that day, and until when, in a sentence."""
    phase = timeline.in_force(day)
    if phase is None:
        return f"{phase_in_short(timeline, day)}: no hours are prescribed today."
    if phase.key == PAUSE:
        return f"None: the brace is paused since {in_words(phase.start)}, until the clinic says so."
    amount = hours(phase.hours_low, phase.hours_high)
    if phase.gate and not phase.gate_open:
        return f"{amount} a day ({phase.name.lower()}), until the clinic decides to step down."
    return f"{amount} a day ({phase.name.lower()}), until {in_words(phase.end)}."


def next_visit(timeline: Timeline, day: date) -> Visit | None:
    """The first visit from that day on that is planned and not kept; None when there is none."""
    ahead = [visit for visit in timeline.visits if visit.on and visit.on >= day and visit.kept is None]
    return min(ahead, key=lambda visit: visit.on or visit.due, default=None)


def visit_lines(case: Case, today: date) -> list[VisitLine]:
    """Every visit of the course as of `today`, in order of time."""
    return [
        VisitLine(
            visit=visit,
            day=visit.kept or visit.on or visit.due,
            state=(state := _state(case, visit, today)),
            words=_state_in_words(visit, state),
            decision=_decision(case.timeline, visit),
            may_be_kept=visit.kept is not None or visit.opens <= today,
        )
        for visit in case.timeline.visits
    ]


def _state(case: Case, visit: Visit, today: date) -> VisitState:
    if visit.kept is not None:
        return VisitState.KEPT
    if visit.cancelled:
        return VisitState.CANCELLED
    day = visit.on or visit.closes
    if day < case.enrolled_on:
        return VisitState.NOT_OURS
    if today <= case.protocol.thresholds.missed_visit_grace.after(day):
        return VisitState.PLANNED
    return VisitState.LATE if today <= visit.closes else VisitState.MISSED


def _state_in_words(visit: Visit, state: VisitState) -> str:
    if visit.kept is not None:
        inside = visit.opens <= visit.kept <= visit.closes
        return "Kept" if inside else "Kept, outside its window"
    if state is VisitState.LATE:
        return f"Late, counts until {in_words(visit.closes)}"
    if state is VisitState.PLANNED and visit.on is None:
        return "No open clinic day in its window: give it a day"
    if state is VisitState.PLANNED:
        return f"Planned; {visit.why}" if visit.why else "Planned"
    return {
        VisitState.MISSED: "Missed",
        VisitState.CANCELLED: "Cancelled",
        VisitState.NOT_OURS: "Before enrolment, not followed",
    }[state]


def _decision(timeline: Timeline, visit: Visit) -> str | None:
    for phase, after in _with_next(timeline):
        if visit.decides is not None and phase.gate == visit.decides and not phase.gate_open:
            return f"step down to {after.name.lower()} ({hours(after.hours_low, after.hours_high)})" if after else None
    return None


def _with_next(timeline: Timeline) -> Iterator[tuple[Phase, Phase | None]]:
    followers = [*timeline.phases[1:], None]
    yield from zip(timeline.phases, followers, strict=True)
