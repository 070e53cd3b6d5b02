"""Calendar days and wall-clock hours where a family lives, as instants in UTC."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from functools import lru_cache

# The operating system's zone files may be years old; the pinned tzdata package is what was tested.
zoneinfo.reset_tzpath(to=[])


@lru_cache(maxsize=256)
def zone(name: str) -> zoneinfo.ZoneInfo:
    """The IANA zone `name`. Raises ValueError for a name that tzdata does not have."""
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"{name!r} is not a time zone: use an IANA name such as Africa/Nairobi") from error


def instant(day: date, at: time, zone_name: str) -> datetime:
    """The instant, in UTC, at which clocks in the zone show `at` on `day`.

    An hour that is skipped is read with the offset before the gap, one that comes twice means its first
    coming (RFC 5545, section 3.3.5; Python's fold=0 does both).
    """
    return datetime.combine(day, at.replace(fold=0), zone(zone_name)).astimezone(UTC)


class Instants:
    """What `instant` gives for one hour in one zone, day after day: a table that grows as it is asked.

    It holds every day between the earliest asked for and the latest, 56 bytes each, so that the moments of a whole
    course are a slice of it. Families share a few hours and zones: take the tables from `instants`.
    """

    __slots__ = ("_at", "_first", "_moments", "_zone_name")

    def __init__(self, at: time, zone_name: str) -> None:
        self._at, self._zone_name = at, zone_name
        self._first = 0  # the ordinal of the first day held
        self._moments: list[datetime] = []

    def on(self, days: Sequence[int]) -> list[datetime]:
        """The instants on those days, ordinals in rising order."""
        if not days:
            return []
        if days[0] < self._first or days[-1] >= self._first + len(self._moments):
            self._grow(days[0], days[-1])
        first, moments = self._first, self._moments
        if isinstance(days, range):
            return moments[days.start - first : days.stop - first : days.step]
        return [moments[day - first] for day in days]

    def _grow(self, first: int, last: int) -> None:
        end = self._first + len(self._moments)
        if not self._moments:
            self._first = end = first
        self._moments[:0] = self._made(range(first, self._first))
        self._moments += self._made(range(end, last + 1))
        self._first = min(first, self._first)

    def _made(self, days: range) -> list[datetime]:
        return [instant(date.fromordinal(day), self._at, self._zone_name) for day in days]


@lru_cache(maxsize=512)
def instants(at: time, zone_name: str) -> Instants:
    """The table of instants for one hour in one zone, kept for the next who asks. Raises ValueError as `zone` does."""
    zone(zone_name)
    return Instants(at, zone_name)


def local_day(moment: datetime, zone_name: str) -> date:
    """The calendar day in the zone at an aware `moment`. Raises ValueError for a naive one."""
    return local(moment, zone_name).date()


def local(moment: datetime, zone_name: str) -> datetime:
    """`moment` on the zone's clocks. Raises ValueError for a naive datetime."""
    if moment.tzinfo is None:
        raise ValueError(f"need an aware datetime: {moment!r}")
    return moment.astimezone(zone(zone_name))
