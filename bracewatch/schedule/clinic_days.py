"""The days on which a clinic sees children, and why it does not on the others."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache

import holidays

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


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
    """Open weekdays (0 is Monday), less closed days with their reasons, less days that are fully booked."""

    weekdays: frozenset[int] = frozenset(range(7))
    closed: Mapping[date, str] = field(default_factory=dict)
    full: frozenset[date] = frozenset()
    # Nearest open days already found: children of one clinic are due on the same days again and again.
    _nearest: dict[date, date | None] = field(default_factory=dict, repr=False, compare=False)

    def is_open(self, day: date) -> bool:
        return day.weekday() in self.weekdays and day not in self.closed and day not in self.full

    def why_closed(self, day: date) -> str:
        """Why nobody is seen on that day, for staff; empty when it is open."""
        if day.weekday() not in self.weekdays:
            return f"{DAY_NAMES[day.weekday()]} is no clinic day"
        if day in self.closed:
            return f"closed: {self.closed[day]}"
        return "fully booked" if day in self.full else ""

    def nearest_open(self, due: date, opens: date, closes: date) -> date | None:
        """The open day nearest to `due` from `opens` to `closes`, both included; of two equally near, the later.

        None when no day of the window is open: the window is never left without a word.
        """
        nearest = self._nearest.get(due)
        if nearest is None:
            nearest = self._nearest[due] = self._search(due, due - MONTH, due + MONTH)
        if nearest is not None and opens <= nearest <= closes:
            return nearest
        return self._search(due, opens, closes)

    def _search(self, due: date, opens: date, closes: date) -> date | None:
        for distance in range(max((closes - due).days, (due - opens).days, 0) + 1):
            for day in (due + timedelta(days=distance), due - timedelta(days=distance)):
                if opens <= day <= closes and self.is_open(day):
                    return day
        return None


MONTH = timedelta(days=31)


def countries() -> frozenset[str]:
    """ISO 3166-1 codes of the countries whose public holidays are known."""
    return frozenset(holidays.list_supported_countries(include_aliases=False))


@lru_cache(maxsize=256)
def public_holidays(country: str, region: str | None, year: int) -> Mapping[date, str]:
    """The public holidays of a country or one of its regions in a year, with their names.

    Raises ValueError for a country or region that is not known. Days that follow the moon are estimates.
    """
    known = holidays.list_supported_countries(include_aliases=False)
    if country not in known:
        raise ValueError(f"no public holidays are known for country {country!r}: use an ISO code such as KE, EG or IN")
    if region is not None and region not in known[country]:
        there = ", ".join(known[country]) or "none"
        raise ValueError(f"no region {region!r} in {country}: there are {there}")
    return dict(holidays.country_holidays(country, subdiv=region, years=year))


def closed_days(
    country: str | None, region: str | None, years: Iterable[int], own: Mapping[date, str]
) -> dict[date, str]:
    """Public holidays of those years and the clinic's own closed days; the clinic's word goes first."""
    days: dict[date, str] = {}
    if country is not None:
        for year in years:
            days.update({day: f"public holiday, {name}" for day, name in public_holidays(country, region, year).items()})
    return {**days, **own}
