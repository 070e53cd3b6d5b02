"""The days on which a clinic sees children."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def parse_weekdays(text: str) -> frozenset[int]:
    """Weekdays from words like "tue,fri": 0 is Monday. Raises ValueError that lists what is allowed."""
    words = [word.strip().lower() for word in text.split(",") if word.strip()]
    unknown = [word for word in words if word not in WEEKDAYS]
    if unknown or not words:
        given = ", ".join(repr(word) for word in unknown) or "nothing"
        raise ValueError(f"clinic days: {given} given; use one or more of {', '.join(WEEKDAYS)}, as in tue,fri")
    return frozenset(WEEKDAYS.index(word) for word in words)


@dataclass(frozen=True, slots=True)
class ClinicCalendar:
    """Open weekdays (0 is Monday) less the days on which the clinic is closed."""

    weekdays: frozenset[int] = frozenset(range(7))
    closed: frozenset[date] = frozenset()

    def is_open(self, day: date) -> bool:
        return day.weekday() in self.weekdays and day not in self.closed

    def nearest_open(self, due: date, opens: date, closes: date) -> date | None:
        """The open day nearest to `due` from `opens` to `closes`, both included; of two equally near, the later.

        None when no day of the window is open: the window is never left without a word.
        """
        for distance in range(max((closes - due).days, (due - opens).days, 0) + 1):
            for day in (due + timedelta(days=distance), due - timedelta(days=distance)):
                if opens <= day <= closes and self.is_open(day):
                    return day
        return None
