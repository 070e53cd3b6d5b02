"""The days on which a clinic sees children, and why it does not on the others."""

from __future__ import annotations

import warnings
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


Chosen = tuple[date, date, date, date | None, str]  # due day, window, the day chosen, why it is not the due day


class _DaysOff(dict[int, frozenset[date]]):
    """The days, by year, on which a clinic is closed or full whatever the weekday; made when first asked for."""

    def __init__(self, own: tuple[date, ...], country: str | None, region: str | None) -> None:
        super().__init__()
        self._own, self._country, self._region = own, country, region

    def __missing__(self, year: int) -> frozenset[date]:
        public = () if self._country is None else public_holidays(self._country, self._region, year)
        off = self[year] = frozenset([*public, *(day for day in self._own if day.year == year)])
        return off


@dataclass(frozen=True, slots=True)
class ClinicCalendar:
    """Open weekdays (0 is Monday), less public holidays, own closed days and days that are fully booked.

    `country` and `region` say whose public holidays are kept (ISO 3166); None: no public holiday closes it.
    """

    weekdays: frozenset[int] = frozenset(range(7))
    closed: Mapping[date, str] = field(default_factory=dict)
    full: frozenset[date] = frozenset()
    country: str | None = None
    region: str | None = None
    # What every choice needs, worked out once. By weekday: the way to the nearest clinic weekday, of two equally
    # near the later, and why that day itself is none. By year: the days off. By due day: the choice round days off.
    _ways: tuple[tuple[timedelta, str], ...] = field(init=False, repr=False, compare=False)
    _off: _DaysOff = field(init=False, repr=False, compare=False)
    _round_off: dict[date, tuple[date | None, str]] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        if not self.weekdays:
            raise ValueError("a clinic sees children on one weekday at least")
        object.__setattr__(self, "_ways", tuple(self._way(weekday) for weekday in range(7)))
        object.__setattr__(self, "_off", _DaysOff((*self.closed, *self.full), self.country, self.region))

    def _way(self, weekday: int) -> tuple[timedelta, str]:
        step = next(step for step in (0, 1, -1, 2, -2, 3, -3) if (weekday + step) % 7 in self.weekdays)
        return timedelta(step), f"{DAY_NAMES[weekday]} is no clinic day" if step else ""

    def is_open(self, day: date) -> bool:
        return day.weekday() in self.weekdays and day not in self._off[day.year]

    def why_closed(self, day: date) -> str:
        """Why nobody is seen on that day, for staff; empty when it is open."""
        return self._ways[day.weekday()][1] or self.closing(day) or ("fully booked" if day in self.full else "")

    def why_shut(self, day: date) -> str:
        """Why the clinic is closed on that day, however many visits are booked on it; empty when it is not."""
        return self._ways[day.weekday()][1] or self.closing(day)

    def closing(self, day: date) -> str:
        """The clinic's own closed day or the public holiday on that day, empty when it is none."""
        if day in self.closed:
            return f"closed: {self.closed[day]}"
        if self.country is not None:
            name = public_holidays(self.country, self.region, day.year).get(day)
            return f"public holiday: {name}" if name else ""
        return ""

    def nearest_open(self, due: date, opens: date, closes: date) -> date | None:
        """The open day nearest to `due` from `opens` to `closes`, both included; of two equally near, the later.

        None when no day of the window is open: the window is never left without a word.
        """
        return self.choose(due, opens, closes)[0]

    def choose(self, due: date, opens: date, closes: date) -> tuple[date | None, str]:
        """What `nearest_open` gives, and why it is not `due`: empty when it is."""
        step, why = self._ways[due.weekday()]
        nearest = due + step
        on: date | None = nearest
        if nearest in self._off[nearest.year]:
            on, why = self._round_off.get(due) or self._look_round(due)
        if on is not None and opens <= on <= closes:
            return on, why
        return self._search(due, opens, closes), self.why_closed(due)

    def choose_each(self, windows: Mapping[date, tuple[date, date]], days: Iterable[date], first: date) -> list[Chosen]:
        """What `choose` gives for each of those due days, with its window, which never opens before `first`.

        Written out because whole courses are made of these.
        """
        ways, off, round_off = self._ways, self._off, self._round_off
        chosen: list[Chosen] = []
        add = chosen.append
        for due in days:
            opens, closes = windows[due]
            if opens < first:
                opens = first
            step, why = ways[due.weekday()]
            nearest = due + step
            on: date | None = nearest
            if nearest in off[nearest.year]:
                on, why = round_off.get(due) or self._look_round(due)
            if on is None or not opens <= on <= closes:
                on, why = self.choose(due, opens, closes)
            add((due, opens, closes, on, why))
        return chosen

    def _look_round(self, due: date) -> tuple[date | None, str]:
        found = self._round_off[due] = self._search(due, due - MONTH, due + MONTH), self.why_closed(due)
        return found

    def _search(self, due: date, opens: date, closes: date) -> date | None:
        for distance in range(max((closes - due).days, (due - opens).days, 0) + 1):
            for day in (due + timedelta(distance), due - timedelta(distance)):
                if opens <= day <= closes and self.is_open(day):
                    return day
        return None


MONTH = timedelta(31)


@lru_cache(maxsize=256)
def public_holidays(country: str, region: str | None, year: int) -> Mapping[date, str]:
    """The public holidays of a country or one of its regions in a year, with their names.

    Raises ValueError for a country or region that is not known. Days that follow the moon are estimates.
    """
    check_country(country, region)
    with warnings.catch_warnings():
        # Years for which nobody has announced them yet have fewer, or none: visits so far ahead do without.
        warnings.simplefilter("ignore")
        # In English where it is there, whatever language the machine speaks: the names are shown to staff.
        in_english = "en_US" if "en_US" in holidays.list_localized_countries().get(country, []) else None
        return dict(holidays.country_holidays(country, subdiv=region, years=year, language=in_english))


def check_country(country: str, region: str | None = None) -> None:
    """Raises ValueError, saying what is known, for a country or region without known public holidays."""
    known = holidays.list_supported_countries(include_aliases=False)
    if country not in known:
        raise ValueError(f"no public holidays are known for country {country!r}: use an ISO code such as KE, EG or IN")
    if region is not None and region not in known[country]:
        there = ", ".join(known[country]) or "none"
        raise ValueError(f"no region {region!r} in {country}: there are {there}")
