"""What staff should look at again in a plan: cautions with their sources. Nothing here blocks anything."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, FactKind, ahead_of, in_words
from bracewatch.schedule.feet import Correction, cautions, ranges_of
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import PAUSE, Timeline, Visit, build

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


@dataclass(frozen=True, slots=True)
class Basis:
    """What a plan was made from. `rules` are those followed in the end, after a move."""

    rules: Protocol
    course: Course
    clinic: ClinicCalendar
    correction: Correction
    today: date


def notes_on(timeline: Timeline, basis: Basis, until: date | None) -> list[Note]:
    """The cautions of a plan: its protocol first, then what was measured, then its visits due up to `until`, then its
    facts."""
    visits = [visit for visit in timeline.visits if until is None or visit.due <= until]
    return [
        *_of_status(basis.rules),
        *(
            Note(one.field, one.sentence, one.cite, one.label)
            for one in cautions(basis.correction, ranges_of(basis.rules))
        ),
        *(note for visit in visits for note in _of_visit(visit, basis.clinic)),
        *_of_facts(timeline, basis),
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


def _of_facts(timeline: Timeline, basis: Basis) -> Iterator[Note]:
    course, today = basis.course, basis.today
    sentences = [
        f"{in_words(fact).capitalize()} on {fact.on} is ahead of {today}: it is drawn as if it happens."
        for fact in ahead_of(today, course.facts)
    ]
    sentences += _decided_early(timeline, course)
    pauses = course.all_of(FactKind.PAUSED, FactKind.RESUMED)
    if pauses and pauses[-1].kind is FactKind.PAUSED and timeline.phases and timeline.phases[-1].key == PAUSE:
        sentences.append(f"The brace is paused since {pauses[-1].on} and nobody wrote down that it goes on again.")
    sentences += _lengthened_in_vain(timeline, basis)
    for sentence in sentences:
        yield Note(None, sentence, _FACTS, "CALC")


def _decided_early(timeline: Timeline, course: Course) -> Iterator[str]:
    """Steps that were made before their visit could have been."""
    for gate, word in course.opened().items():
        visits = [visit for visit in timeline.visits if visit.decides == gate]
        if visits and word.on < min(visit.opens for visit in visits):
            yield (
                f"The decision {gate!r} was made on {word.on}, before the window of its visit opens: it is planned for "
                f"{visits[0].due}, and counts from {visits[0].opens}."
            )


def _lengthened_in_vain(timeline: Timeline, basis: Basis) -> Iterator[str]:
    longer, end = basis.course.all_of(FactKind.LENGTHENED), basis.course.end()
    if not longer or longer[-1].until is None:
        return
    until = longer[-1].until
    if until < timeline.ends_on:
        yield f"Bracing was lengthened until {until}, but it goes on until {timeline.ends_on} anyway."
    elif end is not None:
        facts = tuple(fact for fact in basis.course.facts if fact.kind not in (FactKind.LENGTHENED, FactKind.ENDED))
        if end.on <= build(basis.rules, replace(basis.course, facts=facts), basis.clinic).ends_on:
            yield f"Bracing was lengthened until {until}, but it was ended on {end.on}: lengthening has no effect."
