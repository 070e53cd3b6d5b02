import zoneinfo
from datetime import UTC, date, datetime

import pytest

from bracewatch.schedule.local_time import local_day, zone


def test_an_unknown_zone_is_refused_with_an_example() -> None:
    for name in ("Nairobi", "Mars/Olympus", "", "../../etc/passwd"):
        with pytest.raises(ValueError, match="Africa/Nairobi"):
            zone(name)


def test_zone_data_comes_from_the_pinned_package_not_from_the_machine() -> None:
    assert zoneinfo.TZPATH == ()


def test_the_local_day_is_the_day_where_the_family_lives() -> None:
    late_evening = datetime(2026, 11, 24, 22, 30, tzinfo=UTC)
    assert local_day(late_evening, "Africa/Nairobi") == date(2026, 11, 25)
    assert local_day(late_evening, "America/Lima") == date(2026, 11, 24)


def test_a_naive_moment_is_refused() -> None:
    with pytest.raises(ValueError, match="aware"):
        local_day(datetime(2026, 11, 24), "Africa/Nairobi")  # noqa: DTZ001 - naive on purpose
