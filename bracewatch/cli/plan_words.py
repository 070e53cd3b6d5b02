"""A plan in words, for people and for programs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from bracewatch.cli.notes import Note
from bracewatch.schedule import pictures
from bracewatch.schedule.facts import Course
from bracewatch.schedule.pictures import day_of
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.spans import add_months
from bracewatch.schedule.timeline import Phase, Timeline, Visit

CAUTION = (
    "Bracewatch reminds and records; it does not diagnose. Local protocols and the treating clinician go first. "
    "Sore skin, or toes that are cold, blue or swollen: call the clinic today. Never stop the brace without asking."
)
NO_OPEN_DAY = "no open day in its window"
_FEET = {"atypical": "atypical", "loose": "loose joints"}


def as_json(timeline: Timeline, notes: list[Note]) -> dict[str, Any]:
    """One object of texts and numbers; days are ISO 8601, a phase runs up to, not including, its `end`."""
    return {
        "protocol": {"id": timeline.protocol_id, "version": timeline.protocol_version},
        "phases": [
            {
                "key": phase.key,
                "start": phase.start.isoformat(),
                "end": phase.end.isoformat(),
                "hours_low": phase.hours_low,
                "hours_high": phase.hours_high,
                "gate": phase.gate,
            }
            for phase in timeline.phases
        ],
        "visits": [
            {
                "key": visit.key,
                "due": visit.due.isoformat(),
                "opens": visit.opens.isoformat(),
                "closes": visit.closes.isoformat(),
                "on": day.isoformat() if (day := day_of(visit)) else None,
                "why": why_moved(visit),
                "kept": visit.kept.isoformat() if visit.kept else None,
                "booked": visit.booked,
                "cancelled": visit.cancelled,
            }
            for visit in timeline.visits
        ],
        "ends_on": timeline.ends_on.isoformat(),
        "notes": [asdict(note) for note in notes],
    }


def why_moved(visit: Visit) -> str:
    """Why a visit has another day than the one it is due on, or none; empty when it is on its due day."""
    day = day_of(visit)
    if day == visit.due:
        return ""
    if visit.kept is not None:
        return "the child came on this day"
    if day is None and not visit.cancelled:
        return NO_OPEN_DAY
    return visit.why


@dataclass(frozen=True, slots=True)
class PlanWords:
    """What a plan says beside its timeline; `width` is that of the screen, in columns."""

    rules: Protocol
    course: Course
    sides: str | None
    any_day: bool
    until: date | None
    width: int

    def text(self, timeline: Timeline, notes: list[Note], extras: list[str]) -> str:
        """The whole plan; `extras` are lines that stand before the cautions and sources."""
        lines = [f"{self.rules.name} ({self.rules.id}, version {self.rules.version})", *self._feet(), ""]
        lines += [*pictures.draw(timeline, self.width, self.until), ""] if timeline.phases else []
        lines += ["Phases (up to, not including, the second day)"]
        lines += self._phases(timeline)
        lines += ["", "Visits" + (" (no clinic days given: every day counts as open)" if self.any_day else "")]
        lines += [self._visit(visit) for visit in timeline.visits]
        lines += ["", self._end(timeline.ends_on), ""]
        lines += extras
        lines += ["Look again at", *self._notes(notes), ""] if notes else []
        lines += ["Sources", *(f"  [{source.label}] {source.cite}" for source in self.rules.source), "", CAUTION]
        return "\n".join(lines)

    def _feet(self) -> Iterator[str]:
        words = [f"affected: {self.sides}"] if self.sides else []
        words += [_FEET[self.course.foot]] if self.course.foot in _FEET else []
        if words:
            yield ", ".join(words)

    def _phases(self, timeline: Timeline) -> Iterator[str]:
        last_pieces = {phase.key: phase for phase in timeline.phases}  # a pause cuts a phase in pieces
        for phase in timeline.phases:
            low, high = phase.hours_low, phase.hours_high
            hours = f"{low:g} h" if low == high else f"{low:g} to {high:g} h"
            undecided = phase is last_pieces[phase.key] and self._waits(phase, timeline.ends_on)
            gate = "  until the clinic says so at the visit" if undecided else ""
            yield f"  {phase.start} to {phase.end}  {hours:>10}  {phase.name}{gate}"

    def _waits(self, phase: Phase, ends_on: date) -> bool:
        """Whether the phase goes on until the clinic decides."""
        return phase.gate is not None and not phase.gate_open and not (self._ended and phase.end == ends_on)

    @property
    def _ended(self) -> bool:
        return self.course.end() is not None

    def _visit(self, visit: Visit) -> str:
        day = day_of(visit)
        on = f"{day:%a} {day}" if day else "cancelled" if visit.cancelled else NO_OPEN_DAY
        facts = [
            f"due {visit.due}, counts {visit.opens} to {visit.closes}",
            _age(self.course.born, visit.due),
            "kept" if visit.kept else "",
            why_moved(visit) if visit.kept is None and visit.on is not None else "",
        ]
        return f"  {on}  {visit.name} ({'; '.join(filter(None, facts))})"

    def _end(self, ends_on: date) -> str:
        age = _age(self.course.born, ends_on)
        if self._ended:
            return f"Bracing ends {ends_on} ({age}): the clinic ended it."
        return f"Bracing ends {ends_on} ({age}), if the clinic agrees."

    def _notes(self, notes: list[Note]) -> Iterator[str]:
        for note in notes:
            words = f"{note.sentence} [{note.label}] {note.source}"
            yield textwrap.fill(
                words, self.width, initial_indent="  - ", subsequent_indent="    ", break_long_words=False
            )


def _age(born: date, day: date) -> str:
    months = (day.year - born.year) * 12 + day.month - born.month
    if add_months(born, months) > day:
        months -= 1
    years, rest = divmod(months, 12)
    return f"{years} y {rest} m old" if years else f"{rest} m old"
