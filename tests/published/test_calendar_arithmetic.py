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


def test_the_half_hour_that_lord_howe_skips_takes_the_offset_before_it() -> None:
    # IANA tz database, Australia/Lord_Howe: +10:30 becomes +11 at 02:00 on the first Sunday of October (since 2008).
    assert instant(date(2026, 10, 4), time(2, 15), "Australia/Lord_Howe") == datetime(2026, 10, 3, 15, 45, tzinfo=UTC)
    assert instant(date(2026, 10, 4), time(2, 30), "Australia/Lord_Howe") == datetime(2026, 10, 3, 15, 30, tzinfo=UTC)


def test_the_midnight_that_sao_paulo_skipped_in_2018_takes_the_offset_before_it() -> None:
    # IANA tz database, America/Sao_Paulo: summer time began at 00:00 on 4 November 2018, the last time.
    assert instant(date(2018, 11, 4), time(0, 30), "America/Sao_Paulo") == datetime(2018, 11, 4, 3, 30, tzinfo=UTC)
    assert instant(date(2026, 11, 4), time(0, 30), "America/Sao_Paulo") == datetime(2026, 11, 4, 3, 30, tzinfo=UTC)


def test_cairo_has_summer_time_again_since_2023() -> None:
    # IANA tz database, Africa/Cairo: from the last Friday of April 2023 at 00:00 to the end of the last Thursday of
    # October; none in 2022.
    assert instant(date(2022, 6, 1), time(18), "Africa/Cairo") == datetime(2022, 6, 1, 16, tzinfo=UTC)
    assert instant(date(2023, 4, 28), time(0, 30), "Africa/Cairo") == datetime(2023, 4, 27, 22, 30, tzinfo=UTC)
    assert instant(date(2023, 6, 1), time(18), "Africa/Cairo") == datetime(2023, 6, 1, 15, tzinfo=UTC)
    assert instant(date(2023, 10, 27), time(18), "Africa/Cairo") == datetime(2023, 10, 27, 16, tzinfo=UTC)
