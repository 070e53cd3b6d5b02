"""The days on which a family is asked about wear and reminded of a visit: the one place that says which.

Days of a whole course are ordinals (`date.toordinal()`): a course is then a few ranges of numbers.
"""

from __future__ import annotations

from datetime import date

from bracewatch.schedule.protocol import Contact
from bracewatch.schedule.timeline import PAUSE, Phase, Timeline


def rounds(phase: Phase, start: int, end: int) -> range:
    """The ordinals from `start` up to, not including, `end` on which it is a phase's turn to be asked about.

    That is every `check_in_days` from the phase's own start, never on that day itself.
    """
    begun, every = phase.start.toordinal(), phase.check_in_days
    turn = max(1, -((begun - start) // every))  # the number of the first one from `start` on
    return range(begun + turn * every, end, every)


def is_asking_day(timeline: Timeline, contact: Contact, phase: Phase, day: date) -> bool:
    """Whether a family is asked on `day`, on which `phase` is in force. A pause asks nothing."""
    if phase.key == PAUSE:
        return False
    if phase is timeline.phases[0] and (day - phase.start).days == contact.first_check_in.days:
        return True
    return bool(rounds(phase, day.toordinal(), day.toordinal() + 1))


def check_in_rounds(timeline: Timeline, contact: Contact) -> list[range]:
    """Ranges of the ordinals of every day of the course on which the family is asked, no day twice.

    As planned: closer rounds after low wear come on top, and nobody is asked before they have agreed. Behind a
    gate that nobody has opened a phase is asked about through what was planned, as in `Timeline.in_force`.
    """
    found = []
    held = None
    for phase in timeline.phases:
        if phase.key == PAUSE:
            continue
        asked = held or phase
        start, end = phase.start.toordinal(), phase.end.toordinal()
        turns = rounds(asked, start, end)
        if asked is timeline.phases[0]:
            first = asked.start.toordinal() + contact.first_check_in.days
            if start <= first < end and first not in turns:
                found.append(range(first, first + 1))
        found.append(turns)
        if held is None and not phase.gate_open:
            held = phase
    return found


def days_before(on: date, contact: Contact) -> list[date]:
    """The days, rising, on which a family is reminded of a visit on `on`."""
    return sorted({span.before(on) for span in contact.visit_reminders})


def reminder_days(timeline: Timeline, contact: Contact) -> list[int]:
    """The ordinals, rising, of the days on which the family is reminded of its visits up to the end of bracing."""
    ends_on = timeline.ends_on
    days = [visit.on for visit in timeline.visits if visit.on is not None and visit.due <= ends_on]
    found: set[int] = set()
    for span in contact.visit_reminders:
        found.update([span.before(on).toordinal() for on in days] if span.months else _before(days, span.days))
    return sorted(found)


def _before(days: list[date], ahead: int) -> list[int]:
    return [on.toordinal() - ahead for on in days]
