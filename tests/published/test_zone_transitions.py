"""Clocks that governments changed, often at short notice: what the pinned tzdata has, and what families are sent by it.

Source, unless another is named: the file NEWS of the IANA tz database, in the release beside each check. READ (2025b's
NEWS; for 2026b and 2026c copies of their parts of it). UTC instants are worked out from what it says. CALC

Others are in test_calendar_arithmetic.py: New York, Kathmandu, Lord Howe, São Paulo, Cairo.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import holidays
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule.local_time import Instants, instant, local, local_day

EVENING = time(18)


def hours_ahead(zone_name: str, day: date, at: time = EVENING) -> float:
    """How far clocks in the zone were ahead of UTC at that hour of that day: what a message sent then went by."""
    told = datetime.combine(day, at, UTC) - instant(day, at, zone_name)
    return told / timedelta(hours=1)


def utc(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), UTC)


# Lebanon 2023. The government put the change of clocks off from 26 March to 21 April on 23 March (2023b: "springs
# forward April 20/21 not March 25/26"). Many refused; it took that back, and clocks that had waited moved in the night
# of 29 to 30 March (tz mailing list, 29 March 2023; comments of the file `asia`. READ). The database then had two times
# of day to choose from and kept the old rule: "Model Lebanon's DST chaos by reverting data to tzdb 2023a" (2023c).


def test_lebanon_moved_its_clocks_on_26_march_2023_as_the_database_has_it() -> None:
    # 2023c. By the government's word clocks were two hours ahead until the 29th: messages of four days went an hour
    # early for those who followed it, at the hour they chose for those who did not.
    assert [hours_ahead("Asia/Beirut", date(2023, 3, day)) for day in (24, 25, 26, 29, 30)] == [2, 2, 3, 3, 3]


def test_lebanon_did_not_wait_for_the_21st_of_april_2023() -> None:
    # 2023b had it so for five days; data that old would send everything an hour late for four weeks.
    assert hours_ahead("Asia/Beirut", date(2023, 4, 10)) == 3
    assert hours_ahead("Asia/Beirut", date(2023, 4, 20)) == 3


def test_the_hour_that_lebanon_skipped_takes_the_offset_before_it() -> None:
    assert instant(date(2023, 3, 26), time(0, 30), "Asia/Beirut") == utc(date(2023, 3, 25), 22, 30)
    assert local(utc(date(2023, 3, 25), 22, 30), "Asia/Beirut").time() == time(1, 30)
    assert local_day(utc(date(2023, 3, 25), 21, 59), "Asia/Beirut") == date(2023, 3, 25)


def test_the_hour_that_lebanon_had_twice_means_its_first_coming() -> None:
    # The last Sunday of October at 00:00, the file `asia`, since 1999. MEMORY
    assert instant(date(2023, 10, 28), time(23, 30), "Asia/Beirut") == utc(date(2023, 10, 28), 20, 30)
    assert hours_ahead("Asia/Beirut", date(2023, 10, 29)) == 2


# Morocco: an hour ahead all year since 28 October 2018 (2018g), but not in Ramadan (2018h); from 20 September 2026,
# 02:00, not ahead at all (2026c).


def test_morocco_stayed_an_hour_ahead_in_october_2018() -> None:
    assert hours_ahead("Africa/Casablanca", date(2018, 10, 27)) == 1
    assert hours_ahead("Africa/Casablanca", date(2018, 10, 28)) == 1
    assert hours_ahead("Africa/Casablanca", date(2018, 12, 24)) == 1
    assert hours_ahead("Africa/Casablanca", date(2017, 12, 24)) == 0  # the winter before, it was not


@pytest.mark.parametrize(
    "sprang_forward",
    [
        date(2020, 5, 31),  # 2020a: not 24 May, as was expected
        date(2023, 4, 23),  # 2023a: not 30 April
    ],
)
def test_morocco_springs_forward_on_the_sunday_that_was_told_after_ramadan(sprang_forward: date) -> None:
    assert hours_ahead("Africa/Casablanca", sprang_forward - timedelta(1)) == 0
    assert hours_ahead("Africa/Casablanca", sprang_forward) == 1


def test_an_hour_that_morocco_skipped_takes_the_offset_before_it() -> None:
    # Clocks move at 02:00, the file `africa`. MEMORY
    assert instant(date(2023, 4, 23), time(1, 59), "Africa/Casablanca") == utc(date(2023, 4, 23), 1, 59)
    assert instant(date(2023, 4, 23), time(2, 30), "Africa/Casablanca") == utc(date(2023, 4, 23), 2, 30)
    assert instant(date(2023, 4, 23), time(3), "Africa/Casablanca") == utc(date(2023, 4, 23), 2)


@pytest.mark.parametrize("year", range(2019, 2027))
def test_morocco_is_not_ahead_in_ramadan_and_is_again_two_weeks_after_it(year: int) -> None:
    # The feast of the end of Ramadan, from the `holidays` package. READ
    feast = min(holidays.country_holidays("MA", years=year, language="en_US").get_named("Eid al-Fitr", "icontains"))
    assert [hours_ahead("Africa/Casablanca", feast - timedelta(days)) for days in (1, 14, 27)] == [0, 0, 0]
    assert [hours_ahead("Africa/Casablanca", feast + timedelta(days)) for days in (14, 60)] == [1, 1]
    assert hours_ahead("Africa/Casablanca", feast - timedelta(50)) == 1


def test_morocco_goes_back_for_good_on_20_september_2026() -> None:
    zone = "Africa/Casablanca"  # 2026c, and Western Sahara with it
    assert hours_ahead(zone, date(2026, 9, 19)) == 1
    assert [hours_ahead(zone, day) for day in (date(2026, 9, 20), date(2026, 12, 1), date(2027, 6, 1))] == [0, 0, 0]
    assert instant(date(2026, 9, 20), time(1, 30), zone) == utc(date(2026, 9, 20), 0, 30)  # 01:30 comes twice
    assert hours_ahead("Africa/El_Aaiun", date(2026, 9, 20)) == 0


# Clocks that did not go back, or no longer change at all; and beside each a neighbour whose clocks did.


@pytest.mark.parametrize(
    ("zone", "day", "before", "after"),
    [
        # 2022e: Jordan and Syria keep +03 and do not fall back on 28 October 2022. Lebanon did, on the 30th.
        ("Asia/Amman", date(2022, 10, 30), 3, 3),
        ("Asia/Damascus", date(2022, 10, 30), 3, 3),
        ("Asia/Beirut", date(2022, 10, 30), 3, 2),
        # 2022f: Mexico falls back on 30 October 2022 for the last time; the state of Chihuahua does not that day.
        ("America/Mexico_City", date(2022, 10, 30), -5, -6),
        ("America/Chihuahua", date(2022, 10, 30), -6, -6),
        ("America/Mexico_City", date(2023, 4, 2), -6, -6),
        ("America/Tijuana", date(2023, 3, 12), -8, -7),  # near the border it goes on
        # 2022b: Iran falls back on 21 September 2022 (at 24:00) for the last time.
        ("Asia/Tehran", date(2022, 9, 22), 4.5, 3.5),
        ("Asia/Tehran", date(2023, 3, 22), 3.5, 3.5),
        # 2016g: Turkey keeps +03. Cyprus (Nicosia) fell back on 30 October 2016. MEMORY
        ("Europe/Istanbul", date(2016, 10, 30), 3, 3),
        ("Asia/Nicosia", date(2016, 10, 30), 3, 2),
        # 2025a: Paraguay springs forward on 6 October 2024 and then stays; the fall back of March is gone
        # that it had had on 24 March 2024 (MEMORY).
        ("America/Asuncion", date(2024, 10, 6), -4, -3),
        ("America/Asuncion", date(2025, 3, 23), -3, -3),
        ("America/Asuncion", date(2024, 3, 24), -3, -4),
        # 2026b, 2026c: British Columbia and Alberta do not fall back on 1 November 2026. California and
        # Colorado do, the first Sunday of November, by the Energy Policy Act of 2005 (MEMORY).
        ("America/Vancouver", date(2026, 11, 1), -7, -7),
        ("America/Edmonton", date(2026, 11, 1), -6, -6),
        ("America/Los_Angeles", date(2026, 11, 1), -7, -8),
        ("America/Denver", date(2026, 11, 1), -6, -7),
        # 2022f: Fiji has no summer time in 2022/3 any more; 2020d: it had, from 20 December 2020.
        ("Pacific/Fiji", date(2020, 12, 20), 12, 13),
        ("Pacific/Fiji", date(2022, 12, 20), 12, 12),
    ],
)
def test_clocks_did_what_was_announced_that_day(zone: str, day: date, before: float, after: float) -> None:
    assert (hours_ahead(zone, day - timedelta(1)), hours_ahead(zone, day)) == (before, after)


# Zones that moved for good.


@pytest.mark.parametrize(
    ("zone", "day", "before", "after"),
    [
        ("Africa/Juba", date(2021, 2, 1), 3, 2),  # 2021a, at 00:00
        ("Africa/Khartoum", date(2017, 11, 1), 3, 2),  # 2017c
        ("Asia/Almaty", date(2024, 3, 1), 6, 5),  # 2024a, at 00:00
        ("Asia/Pyongyang", date(2018, 5, 5), 8.5, 9),  # 2018e; at 23:30 the evening before, 2018f
        ("Africa/Sao_Tome", date(2018, 1, 1), 0, 1),  # 2018a, at 01:00
        ("Africa/Sao_Tome", date(2019, 1, 1), 1, 0),  # 2018i, at 02:00
    ],
)
def test_a_zone_moved_on_the_day_that_was_announced(zone: str, day: date, before: float, after: float) -> None:
    assert (hours_ahead(zone, day - timedelta(1)), hours_ahead(zone, day)) == (before, after)


def test_south_sudan_did_not_move_with_sudan() -> None:
    # 2017c: "South Sudan is not switching".
    assert hours_ahead("Africa/Juba", date(2017, 11, 2)) == 3


def test_the_hour_before_midnight_that_juba_and_almaty_had_twice_means_its_first_coming() -> None:
    assert instant(date(2021, 1, 31), time(23, 30), "Africa/Juba") == utc(date(2021, 1, 31), 20, 30)
    assert instant(date(2024, 2, 29), time(23, 30), "Asia/Almaty") == utc(date(2024, 2, 29), 17, 30)


def test_a_day_that_begins_twice_is_still_one_day() -> None:
    # Juba: 00:00 on 1 February became 23:00 on 31 January.
    assert local_day(utc(date(2021, 1, 31), 20, 59), "Africa/Juba") == date(2021, 1, 31)
    assert local_day(utc(date(2021, 1, 31), 21), "Africa/Juba") == date(2021, 1, 31)
    assert local_day(utc(date(2021, 1, 31), 22), "Africa/Juba") == date(2021, 2, 1)


def test_palestine_sprang_forward_on_29_april_2023_and_not_on_25_march() -> None:
    # 2023a.
    for zone in ("Asia/Gaza", "Asia/Hebron"):
        assert [hours_ahead(zone, day) for day in (date(2023, 3, 26), date(2023, 4, 28), date(2023, 4, 29))] == [
            2,
            2,
            3,
        ]


def test_greenland_changes_its_clocks_again_from_2024_an_hour_further_on() -> None:
    # 2023a: -03/-02 up to March 2023, nothing in autumn 2023, -02/-01 from 2024.
    days = (date(2023, 3, 24), date(2023, 3, 27), date(2023, 10, 30), date(2024, 1, 15), date(2024, 4, 1))
    assert [hours_ahead("America/Nuuk", day) for day in days] == [-3, -2, -2, -2, -1]


def test_the_day_that_samoa_left_out_is_read_with_the_offset_before_it() -> None:
    # Samoa crossed the date line at the end of 29 December 2011: no 30 December, from -10 to +14 (summer time). MEMORY
    apia = "Pacific/Apia"
    assert instant(date(2011, 12, 29), EVENING, apia) == utc(date(2011, 12, 30), 4)
    assert instant(date(2011, 12, 31), EVENING, apia) == utc(date(2011, 12, 31), 4)
    assert instant(date(2011, 12, 30), EVENING, apia) == utc(date(2011, 12, 31), 4)  # RFC 5545, section 3.3.5
    assert local_day(utc(date(2011, 12, 30), 9, 59), apia) == date(2011, 12, 29)
    assert local_day(utc(date(2011, 12, 30), 10), apia) == date(2011, 12, 31)


# The table of instants, which serves whole courses, across all of these.


CHANGING = (
    "Asia/Beirut",
    "Africa/Casablanca",
    "Africa/Cairo",
    "Africa/Juba",
    "America/Asuncion",
    "America/Sao_Paulo",
    "America/Vancouver",
    "Asia/Gaza",
    "Asia/Kathmandu",
    "Asia/Pyongyang",
    "Australia/Lord_Howe",
    "Pacific/Apia",
)
ORDINALS = st.integers(date(2010, 1, 1).toordinal(), date(2032, 1, 1).toordinal())


@st.composite
def asked(draw: st.DrawFn) -> list[range | list[int]]:
    """Days asked for one lot after another, near each other: every step, a few, none, or far away."""
    base = draw(ORDINALS)
    near = st.integers(base, base + 12)
    some = st.builds(range, near, near, st.integers(1, 5)) | st.lists(near, max_size=4).map(sorted)
    return draw(st.lists(some | st.lists(ORDINALS, max_size=2).map(sorted), min_size=1, max_size=5))


@given(st.sampled_from(CHANGING), st.times().map(lambda at: at.replace(microsecond=0)), asked())
def test_the_table_of_instants_says_what_each_day_says_however_it_was_asked(
    zone: str, at: time, lots: list[range | list[int]]
) -> None:
    table = Instants(at, zone)
    for days in lots:
        assert table.on(days) == [instant(date.fromordinal(day), at, zone) for day in days]


def test_the_day_after_the_last_that_a_table_holds_is_made_when_it_is_asked_for() -> None:
    table, first = Instants(EVENING, "Asia/Beirut"), date(2023, 3, 24).toordinal()
    assert table.on(range(first, first + 2)) == [utc(date(2023, 3, day), 16) for day in (24, 25)]
    assert table.on([first + 2]) == [utc(date(2023, 3, 26), 15)]
    assert table.on([first - 1]) == [utc(date(2023, 3, 23), 16)]


@given(st.sampled_from(CHANGING), ORDINALS.map(date.fromordinal), st.times())
def test_an_instant_is_the_hour_that_was_asked_for_unless_clocks_skipped_it(zone: str, day: date, at: time) -> None:
    # Standard: Python's datetime library, reading the instant back by the same data.
    read_back = instant(day, at, zone).astimezone(ZoneInfo(zone))
    wanted = datetime.combine(day, at)
    if read_back.replace(tzinfo=None, fold=0) == wanted:
        assert read_back.fold == 0  # the first of two
    else:
        skipped = read_back.replace(tzinfo=None) - wanted
        assert timedelta(0) < skipped <= timedelta(hours=24)
        assert local(instant(day, at, zone) - skipped, zone).replace(tzinfo=None) < wanted
