"""Month arithmetic and local time against outside references."""

from datetime import UTC, date, datetime, time, timedelta

from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule.local_time import instant
from bracewatch.schedule.spans import Span, add_months

DAYS = st.dates(date(1970, 1, 1), date(2200, 12, 31))


@given(DAYS, st.integers(-600, 600))
def test_adding_months_agrees_with_dateutil(day: date, months: int) -> None:
    assert add_months(day, months) == day + relativedelta(months=months)


@given(DAYS, st.integers(0, 240), st.integers(0, 800))
def test_spans_agree_with_dateutil_both_ways(day: date, months: int, days: int) -> None:
    span = Span(months, days)
    assert span.after(day) == day + relativedelta(months=months, days=days)
    assert span.before(day) == day - relativedelta(months=months) - timedelta(days=days)


def test_months_are_counted_from_the_anchor_not_from_the_previous_result() -> None:
    anchor = date(2026, 1, 31)
    assert [add_months(anchor, n) for n in (1, 2, 3)] == [date(2026, 2, 28), date(2026, 3, 31), date(2026, 4, 30)]


def test_a_leap_day_birthday_falls_on_the_28th_in_common_years() -> None:
    assert add_months(date(2024, 2, 29), 48) == date(2028, 2, 29)
    assert add_months(date(2024, 2, 29), 12) == date(2025, 2, 28)


def test_an_hour_that_is_skipped_takes_the_offset_before_the_gap() -> None:
    # RFC 5545, section 3.3.5. New York skipped 02:00-03:00 on 11 March 2007: 02:30 means 03:30 EDT, 07:30 UTC.
    assert instant(date(2007, 3, 11), time(2, 30), "America/New_York") == datetime(2007, 3, 11, 7, 30, tzinfo=UTC)


def test_an_hour_that_comes_twice_means_its_first_coming() -> None:
    # RFC 5545, section 3.3.5. New York had 01:30 twice on 4 November 2007: the first is EDT, 05:30 UTC.
    assert instant(date(2007, 11, 4), time(1, 30), "America/New_York") == datetime(2007, 11, 4, 5, 30, tzinfo=UTC)


def test_kathmandu_is_five_hours_and_forty_five_minutes_ahead() -> None:
    # IANA tz database, zone Asia/Kathmandu since 1986.
    assert instant(date(2026, 1, 1), time(18), "Asia/Kathmandu") == datetime(2026, 1, 1, 12, 15, tzinfo=UTC)
