"""A bracing course as a calendar file (RFC 5545) that any calendar opens. It names no child."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event

from bracewatch.schedule.pictures import day_of
from bracewatch.schedule.timeline import PAUSE, Phase, Timeline, Visit

PRODUCT = "-//Bracewatch//Bracing calendar//EN"
_COUNTED_FROM = datetime(2020, 1, 1, tzinfo=UTC)
_NAMESPACE = uuid5(NAMESPACE_URL, "urn:bracewatch:calendar")
ADVICE = (
    "Sore skin, or toes that are cold, blue or swollen: call the clinic today. Never stop the brace without asking."
)


def calendar_file(timeline: Timeline, course: str, stamp: datetime, older: Iterable[Timeline] = ()) -> bytes:
    """The course as one calendar: each visit that has a day, and each phase, as an all-day event.

    `course` is any text that is the same whenever this course is written and differs between courses: identifiers
    are made from it, so that a newer file takes the place of an older one. `stamp` is when the file is made.
    A visit without an open day is left out; a cancelled one is in it as cancelled, so that calendars that had it
    take it away. So is what only `older` plans of the course have: earlier files may hold it, as when bracing ended
    before its time. A phase never blocks time, a visit does.
    Raises ValueError for a naive `stamp`.
    """
    if stamp.tzinfo is None:
        raise ValueError(f"need an aware datetime: {stamp!r}")
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", "Bracing")
    # RFC 5545, 3.8.7.4: a later revision has the higher number. Nothing is kept of earlier files, so minutes count.
    sequence = int((stamp - _COUNTED_FROM).total_seconds() // 60)
    events = {str(event["UID"]): event for event in _events(timeline, course)}
    for plan in older:
        ahead = tuple(visit for visit in plan.visits if visit.kept is None)  # what was kept is called off by nothing
        for event in _events(replace(plan, visits=ahead), course):
            events.setdefault(str(event["UID"]), _no_longer_planned(event))
    for event in events.values():
        event.add("dtstamp", stamp.astimezone(UTC))
        event.add("sequence", sequence)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _events(timeline: Timeline, course: str) -> Iterator[Event]:
    yield from _phases(timeline, course)
    yield from _visits(timeline, course)


def _no_longer_planned(event: Event) -> Event:
    for name, value in (("status", "CANCELLED"), ("transp", "TRANSPARENT"), ("description", "No longer planned.")):
        event.pop(name, None)
        event.add(name, value)
    return event


def _phases(timeline: Timeline, course: str) -> Iterator[Event]:
    pieces: Counter[str] = Counter()
    for phase in timeline.phases:
        pieces[phase.key] += 1  # a pause cuts a phase in pieces that share their key
        event = _all_day(phase.start, phase.end, course, f"phase {phase.key} {pieces[phase.key]}")
        event.add("summary", f"Brace: {phase.name}" if phase.key != PAUSE else phase.name)
        event.add("description", _about_phase(phase, timeline.ends_on))
        event.add("transp", "TRANSPARENT")
        yield event


def _about_phase(phase: Phase, ends_on: date) -> str:
    if phase.key == PAUSE:
        return f"Until the clinic says that the brace goes on again. {ADVICE}"
    low, high = phase.hours_low, phase.hours_high
    hours = f"{low:g} hours a day" if low == high else f"{low:g} to {high:g} hours a day"
    undecided = not phase.gate_open and phase.end < ends_on  # a course that ended waits for nothing
    decision = " It goes on until the clinic decides, at the visit." if undecided else ""
    return f"{hours}.{decision} {ADVICE}"


def _visits(timeline: Timeline, course: str) -> Iterator[Event]:
    for visit in timeline.visits:
        day = day_of(visit) or (visit.due if visit.cancelled else None)
        if day is not None:
            event = _all_day(day, day + timedelta(days=1), course, f"visit {visit.key}")
            event.add("summary", f"Clinic: {visit.name}")
            event.add("description", _about_visit(visit))
            event.add("transp", "TRANSPARENT" if _is_off(visit) else "OPAQUE")
            event.add("status", _status(visit))
            yield event


def _status(visit: Visit) -> str:
    """RFC 5545, 3.8.1.11."""
    if _is_off(visit):
        return "CANCELLED"
    return "CONFIRMED" if visit.booked or visit.kept is not None else "TENTATIVE"


def _is_off(visit: Visit) -> bool:
    return visit.cancelled and visit.kept is None


def _about_visit(visit: Visit) -> str:
    if visit.kept is not None:
        return "The child came."
    if visit.cancelled:
        return "The clinic called this visit off."
    moved = f"Due {visit.due}; {visit.why}. " if visit.why and visit.on != visit.due else ""
    return f"{moved}It counts from {visit.opens} to {visit.closes}."


def _all_day(first: date, after: date, course: str, part: str) -> Event:
    """An event from `first` up to, not including, `after`. RFC 5545, section 3.6.1."""
    event = Event()
    event.add("uid", f"{uuid5(_NAMESPACE, f'{course} {part}')}@bracewatch")
    event.add("dtstart", first)
    event.add("dtend", after)
    return event
