"""Which visits have come near enough to hold a day for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from bracewatch.review.case import Case
from bracewatch.schedule.local_time import instant

BOOKED_AHEAD = timedelta(days=60)  # a clinic setting, no source (PRACTICE)


@dataclass(frozen=True, slots=True)
class Booking:
    """A visit and the day that is to be held for it."""

    visit_key: str
    on: date


def due(case: Case, now: datetime) -> tuple[list[Booking], datetime | None]:
    """The visits of the coming sixty days that nobody has booked, and when the next one comes so near.

    Once a day is held it stays, whatever changes in the clinic's week later: it is what the family was told.
    """
    today = case.clinic_day(now)
    open_days = [
        (visit.on, visit.key)
        for visit in case.timeline.visits
        if visit.on is not None and visit.on >= today and not visit.booked and visit.kept is None
    ]
    near = [Booking(key, on) for on, key in open_days if on - BOOKED_AHEAD <= today]
    later = min((on for on, _ in open_days if on - BOOKED_AHEAD > today), default=None)
    return near, instant(later - BOOKED_AHEAD, time(0), case.clinic_zone) if later else None
