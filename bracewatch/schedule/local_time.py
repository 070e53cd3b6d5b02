"""Calendar days and wall-clock hours where a family lives, as instants in UTC."""

from __future__ import annotations

import zoneinfo
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


def local_day(moment: datetime, zone_name: str) -> date:
    """The calendar day in the zone at an aware `moment`. Raises ValueError for a naive one."""
    return local(moment, zone_name).date()


def local(moment: datetime, zone_name: str) -> datetime:
    """`moment` on the zone's clocks. Raises ValueError for a naive datetime."""
    if moment.tzinfo is None:
        raise ValueError(f"need an aware datetime: {moment!r}")
    return moment.astimezone(zone(zone_name))
