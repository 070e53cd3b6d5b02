"""What staff should look at again in a plan: cautions with their sources. Nothing here blocks anything."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, FactKind, ahead_of, in_words
from bracewatch.schedule.feet import Correction, cautions
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import PAUSE, Timeline, Visit

_CLINIC_DAYS = "The clinic days, closed days and public holidays that were given"
_FACTS = "The facts that were given"
_ESTIMATED = "(estimated)"  # how the holidays package marks a day that follows the moon


@dataclass(frozen=True, slots=True)
class Note:
    """One caution. `field` is the measured value it is about; None when it is about the plan."""

    field: str | None
    sentence: str
    source: str
    label: str


def notes_on(
    timeline: Timeline, rules: Protocol, course: Course, clinic: ClinicCalendar, correction: Correction, today: date
) -> list[Note]:
    """The cautions of a plan: its protocol first, then what was measured, then its visits, then its facts."""
    return [
        *_of_status(rules),
        *(Note(one.field, one.sentence, one.cite, one.label) for one in cautions(correction)),
        *(note for visit in timeline.visits for note in _of_visit(visit, clinic)),
        *_of_facts(timeline, course, today),
    ]


def _of_status(rules: Protocol) -> Iterator[Note]:
    if rules.status != "routine":
        source = rules.source[0]
        sentence = f"{rules.name}: {rules.status}. Only a centre that takes part in the research follows it."
        yield Note(None, sentence, source.cite, source.label)


def _of_visit(visit: Visit, clinic: ClinicCalendar) -> Iterator[Note]:
    if visit.kept is not None and not visit.opens <= visit.kept <= visit.closes:
        window = f"which runs from {visit.opens} to {visit.closes}"
        sentence = f"{visit.name} ({visit.key}) was kept on {visit.kept}, outside its window, {window}."
        yield Note(None, sentence, _FACTS, "CALC")
    if visit.kept is not None or visit.cancelled:
        return
    if visit.on is None:
        window = f"from {visit.opens} to {visit.closes}"
        sentence = f"{visit.name} ({visit.key}): no day is open {window}. Choose a day with the clinic."
        yield Note(None, sentence, _CLINIC_DAYS, "CALC")
    elif visit.booked and not visit.opens <= visit.on <= visit.closes:
        window = f"which runs from {visit.opens} to {visit.closes}"
        yield Note(
            None, f"{visit.name} ({visit.key}) is booked on {visit.on}, outside its window, {window}.", _FACTS, "CALC"
        )
    if visit.on is not None and (why := clinic.why_closed(visit.on)):
        yield Note(None, f"{visit.name} ({visit.key}) is booked on {visit.on}: {why}.", _CLINIC_DAYS, "CALC")
    if _ESTIMATED in visit.why:
        sentence = f"{visit.name} ({visit.key}) avoids a holiday whose day is an estimate; look again nearer the day."
        yield Note(None, sentence, _CLINIC_DAYS, "CALC")


def _of_facts(timeline: Timeline, course: Course, today: date) -> Iterator[Note]:
    for fact in ahead_of(today, course.facts):
        sentence = f"{in_words(fact).capitalize()} on {fact.on} is ahead of {today}: it is drawn as if it happens."
        yield Note(None, sentence, _FACTS, "CALC")
    pauses = course.all_of(FactKind.PAUSED, FactKind.RESUMED)
    if pauses and pauses[-1].kind is FactKind.PAUSED and timeline.phases and timeline.phases[-1].key == PAUSE:
        sentence = f"The brace is paused since {pauses[-1].on} and nobody wrote down that it goes on again."
        yield Note(None, sentence, _FACTS, "CALC")
    longer = list(course.latest(FactKind.LENGTHENED).values())
    if longer and longer[0].until is not None and longer[0].until < timeline.ends_on:
        sentence = f"Bracing was lengthened until {longer[0].until}, but it goes on until {timeline.ends_on} anyway."
        yield Note(None, sentence, _FACTS, "CALC")
