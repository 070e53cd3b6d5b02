"""The day of a visit against numpy's business days, and public holidays against law and the `holidays` package.

Where the choice of a clinic day and `numpy.busday_offset` agree. numpy rolls a day that is no business day forward (to
the first one later) or backward (to the first one earlier); a business day stays as it is. A clinic takes the nearest
open day inside the visit's window and, of two equally near, the later. So, with the clinic's weekdays as the weekmask
and its days off as the holidays:

* the day chosen is always one of numpy's two, or none: rolled forward where that is no further than rolled backward,
  else rolled backward;
* one of the two that lies outside the window does not count, however near it is;
* both outside: no day. numpy never says that; it goes on until it finds one;
* a due day outside its own window counts as the window's nearer end, rolled inwards. (No protocol has one.)

'modifiedfollowing' and 'modifiedpreceding' are other rules: they turn back at the end of a month, not of a window, and
prefer one direction. They agree only where that direction is the one above.

Labels: READ, READ-2, MEMORY, PRACTICE, CALC, as in DEVELOPERS.md.
"""

import calendar
import warnings
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

import holidays
import numpy as np
import pytest
from dateutil.easter import easter
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, public_holidays
from bracewatch.schedule.facts import Course
from bracewatch.schedule.spans import Span
from bracewatch.schedule.timeline import Visit, build

WEEKDAYS = st.frozensets(st.integers(0, 6), min_size=1)
NEW_YEARS = st.builds(lambda year, n: date(year, 1, 1) + timedelta(n), st.integers(2020, 2040), st.integers(-4, 3))
DAYS = st.dates(date(2019, 1, 1), date(2040, 12, 31)) | NEW_YEARS  # days off are known by the year
PLACES = (
    ("KE", None),
    ("EG", None),
    ("ZA", None),
    ("US", None),
    ("IN", "TN"),
    ("IN", "KL"),
    ("BR", "SP"),
    ("BR", "BA"),
    ("DE", "BY"),
    ("DE", "BE"),
    ("GB", "ENG"),
    ("GB", "SCT"),
    ("AU", "NSW"),
    ("CA", "QC"),
)
YEARS = range(2019, 2036)
Roll = Literal["forward", "backward", "modifiedfollowing"]


@lru_cache(maxsize=1024)
def published(country: str, region: str | None, year: int) -> frozenset[date]:
    """What the `holidays` package has, asked directly."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says so where nobody has announced the days of far years yet
        return frozenset(holidays.country_holidays(country, subdiv=region, years=year))


def busdaycalendar(clinic: ClinicCalendar, years: range) -> np.busdaycalendar:
    """numpy's calendar of the same clinic."""
    off = {*clinic.closed, *clinic.full}
    if clinic.country is not None:
        off = off.union(*(published(clinic.country, clinic.region, year) for year in years))
    weekmask = [weekday in clinic.weekdays for weekday in range(7)]
    return np.busdaycalendar(weekmask=weekmask, holidays=np.array(sorted(off), dtype="datetime64[D]"))


def rolled(day: date, roll: Roll, busdays: np.busdaycalendar) -> date:
    found = np.busday_offset(np.datetime64(day), 0, roll=roll, busdaycal=busdays).item()
    assert isinstance(found, date)
    return found


def choice_of_numpy(due: date, opens: date, closes: date, busdays: np.busdaycalendar) -> date | None:
    """The nearer of the two rolled days that lie in the window, the later of two equally near."""
    inside = min(max(due, opens), closes)
    later, earlier = rolled(inside, "forward", busdays), rolled(inside, "backward", busdays)
    return min(
        (day for day in (later, earlier) if opens <= day <= closes), key=lambda day: abs(day - inside), default=None
    )


def years_round(day: date) -> range:
    return range(day.year - 2, day.year + 3)


@st.composite
def closures(draw: st.DrawFn, due: date) -> list[date]:
    """Single days off, and holidays of up to ten weeks, near a day."""
    found = [due + timedelta(n) for n in draw(st.lists(st.integers(-40, 40), max_size=15))]
    for first in draw(st.lists(st.integers(-60, 20), max_size=2)):
        found += [due + timedelta(first + n) for n in range(draw(st.integers(1, 70)))]
    return found


@st.composite
def clinics_round(draw: st.DrawFn, due: date) -> ClinicCalendar:
    country, region = draw(st.sampled_from([(None, None), *PLACES]))
    closed = dict.fromkeys(draw(closures(due)), "stocktaking")
    full = frozenset(due + timedelta(n) for n in draw(st.lists(st.integers(-10, 10), max_size=5)))
    return ClinicCalendar(draw(WEEKDAYS), closed, full, country, region)


# The nearest open day


@given(st.data(), DAYS, st.integers(0, 100), st.integers(0, 100))
def test_the_day_chosen_is_the_nearer_of_the_two_that_numpy_rolls_to(
    data: st.DataObject, due: date, before: int, after: int
) -> None:
    clinic = data.draw(clinics_round(due))
    opens, closes = due - timedelta(before), due + timedelta(after)
    chosen, why = clinic.choose(due, opens, closes)
    assert chosen == choice_of_numpy(due, opens, closes, busdaycalendar(clinic, years_round(due)))
    assert chosen == clinic.nearest_open(due, opens, closes)
    assert (why == "") == (chosen == due)


@given(st.data(), DAYS, st.integers(-60, 60), st.integers(0, 60))
def test_a_due_day_outside_its_window_counts_as_the_nearer_end(
    data: st.DataObject, due: date, first: int, length: int
) -> None:
    clinic = data.draw(clinics_round(due))
    opens = due + timedelta(first)
    closes = opens + timedelta(length)
    expected = choice_of_numpy(due, opens, closes, busdaycalendar(clinic, years_round(due)))
    assert clinic.nearest_open(due, opens, closes) == expected


@given(st.data(), DAYS)
def test_one_calendar_gives_the_same_whatever_it_was_asked_before(data: st.DataObject, first: date) -> None:
    clinic = data.draw(clinics_round(first))
    expected = busdaycalendar(clinic, years_round(first))
    for _ in range(8):
        due = first + timedelta(data.draw(st.integers(-5, 5)))
        opens, closes = due - timedelta(data.draw(st.integers(0, 40))), due + timedelta(data.draw(st.integers(0, 40)))
        assert clinic.nearest_open(due, opens, closes) == choice_of_numpy(due, opens, closes, expected)


@given(st.data(), DAYS)
def test_rolling_forward_alone_agrees_just_where_the_later_day_is_no_further(data: st.DataObject, due: date) -> None:
    clinic = data.draw(clinics_round(due))
    expected = busdaycalendar(clinic, years_round(due))
    later, earlier = rolled(due, "forward", expected), rolled(due, "backward", expected)
    chosen = clinic.nearest_open(due, due - timedelta(400), due + timedelta(400))
    assert (chosen == later) == (later - due <= due - earlier)
    assert chosen in (later, earlier)


@given(st.data(), DAYS)
def test_a_clinic_is_open_on_numpys_business_days_and_on_no_others(data: st.DataObject, day: date) -> None:
    clinic = data.draw(clinics_round(day))
    days = [day + timedelta(n) for n in range(-45, 46)]
    open_days = np.is_busday(np.array(days, dtype="datetime64[D]"), busdaycal=busdaycalendar(clinic, years_round(day)))
    assert [clinic.is_open(day) for day in days] == open_days.tolist()
    assert [clinic.why_closed(day) == "" for day in days] == open_days.tolist()


def test_modified_following_turns_back_at_the_end_of_a_month_and_a_clinic_does_not() -> None:
    clinic = ClinicCalendar(frozenset({1}))  # Tuesdays: 26 May and 2 June 2026
    saturday = date(2026, 5, 30)
    assert rolled(saturday, "modifiedfollowing", busdaycalendar(clinic, range(2026, 2027))) == date(2026, 5, 26)
    assert clinic.nearest_open(saturday, date(2026, 5, 20), date(2026, 6, 10)) == date(2026, 6, 2)


def test_a_window_without_an_open_day_has_none_and_numpy_goes_on_beyond_it() -> None:
    clinic = ClinicCalendar(frozenset({1}))
    thursday = date(2026, 5, 28)
    assert clinic.nearest_open(thursday, date(2026, 5, 27), date(2026, 6, 1)) is None
    assert rolled(thursday, "forward", busdaycalendar(clinic, range(2026, 2027))) == date(2026, 6, 2)


# The windows and the days of whole courses


@given(st.data(), st.sampled_from(protocol.shipped_ids()), st.integers(0, 400))
def test_the_visits_of_a_course_are_on_numpys_days_inside_the_protocols_windows(
    data: st.DataObject, key: str, old: int
) -> None:
    rules = protocol.shipped(key)
    born = data.draw(DAYS)
    course = Course(born, born + timedelta(old))
    clinic = data.draw(clinics_round(course.brace_start + timedelta(90)))
    expected = busdaycalendar(clinic, range(born.year - 1, born.year + 20))
    windows = {rule.key: (rule.opens, rule.closes) for variant in rules.variant for rule in variant.visit}
    for visit in build(rules, course, clinic).visits:
        assert visit.on == choice_of_numpy(visit.due, visit.opens, visit.closes, expected)
        before, after = window_of(visit, windows)
        assert visit.opens == max(visit.due - as_relativedelta(before), course.brace_start)
        assert visit.closes == visit.due + as_relativedelta(after)


def window_of(visit: Visit, windows: dict[str, tuple[Span, Span]]) -> tuple[Span, Span]:
    """That of its rule; the visits of a row carry a number behind the rule's key."""
    return windows.get(visit.key) or windows[visit.key.rpartition("-")[0]]


def as_relativedelta(span: Span) -> relativedelta:
    return relativedelta(months=span.months, days=span.days)


# Public holidays: what reaches the clinic is what the `holidays` package has


@pytest.mark.parametrize(("country", "region"), PLACES)
def test_a_clinic_is_closed_on_the_public_holidays_of_its_region_and_open_on_all_other_days(
    country: str, region: str | None
) -> None:
    clinic = ClinicCalendar(country=country, region=region)
    for year in YEARS:
        days = [date.fromordinal(day) for day in range(date(year, 1, 1).toordinal(), date(year + 1, 1, 1).toordinal())]
        assert {day for day in days if not clinic.is_open(day)} == published(country, region, year)


@pytest.mark.parametrize("country", sorted({country for country, region in PLACES if region}))
def test_each_region_has_a_holiday_that_the_whole_country_has_not_or_lacks_one(country: str) -> None:
    # So that the check above would see a region that was left out.
    for region in (region for place, region in PLACES if place == country):
        years = [(public_holidays(country, region, year), public_holidays(country, None, year)) for year in YEARS]
        assert any(ours.keys() != whole.keys() for ours, whole in years)


# Public holidays: what the law says

Law = Callable[[int], set[date]]
GOOD_FRIDAY, EASTER_MONDAY, ASCENSION, WHIT_MONDAY, CORPUS_CHRISTI = -2, 1, 39, 50, 60  # days from Easter Sunday


def each_year(year: int, *days: tuple[int, int]) -> set[date]:
    return {date(year, month, day) for month, day in days}


def after_easter(year: int, *days: int) -> set[date]:
    # Easter from dateutil, not from the `holidays` package.
    return {easter(year) + timedelta(n) for n in days}


def the_nth(number: int, weekday: int, month: int, year: int) -> date:
    """The first, second… such weekday of a month; the last for -1."""
    days = [week[weekday] for week in calendar.monthcalendar(year, month) if week[weekday]]
    return date(year, month, days[number - 1] if number > 0 else days[number])


def is_sunday(day: date) -> bool:
    return day.weekday() == calendar.SUNDAY


def bavaria(year: int) -> set[date]:
    # Bavaria, Gesetz über den Schutz der Sonn- und Feiertage (FTG) of 21 May 1980, Art. 1(1) no. 1. READ
    moving = after_easter(year, GOOD_FRIDAY, EASTER_MONDAY, ASCENSION, WHIT_MONDAY, CORPUS_CHRISTI)
    return moving | each_year(year, (1, 1), (1, 6), (5, 1), (10, 3), (11, 1), (12, 25), (12, 26))


def berlin(year: int) -> set[date]:
    # Berlin, Gesetz über die Sonn- und Feiertage, section 1, as the Senate publishes it; Women's Day since 2019. READ
    # Once each: 8 May 2020, 8 May 2025 and 17 June 2028, as newspapers reported the House of Representatives. READ-2
    moving = after_easter(year, GOOD_FRIDAY, EASTER_MONDAY, ASCENSION, WHIT_MONDAY)
    once = {day for day in (date(2020, 5, 8), date(2025, 5, 8), date(2028, 6, 17)) if day.year == year}
    return moving | once | each_year(year, (1, 1), (3, 8), (5, 1), (10, 3), (12, 25), (12, 26))


def minas_gerais(year: int) -> set[date]:
    # Brazil, Lei 662/1949 in the words of Lei 10.607/2002, Lei 6.802/1980 (12 October), Good Friday. MEMORY
    # Lei 14.759 of 21 December 2023: 20 November, from 2024 on. READ
    since_2024 = each_year(year, (11, 20)) if year >= 2024 else set()
    fixed = each_year(year, (1, 1), (4, 21), (5, 1), (9, 7), (10, 12), (11, 2), (11, 15), (12, 25))
    return fixed | after_easter(year, GOOD_FRIDAY) | since_2024


def sao_paulo(year: int) -> set[date]:
    # The state of São Paulo, Lei 9.497 of 5 March 1997: 9 July, as the state's portal says. READ
    return minas_gerais(year) | each_year(year, (7, 9))


@pytest.mark.parametrize(
    ("country", "region", "law", "years"),
    [
        ("DE", "BY", bavaria, YEARS),
        ("DE", "BE", berlin, YEARS),
        ("BR", "MG", minas_gerais, YEARS),
        # In 2020 Lei 17.264 moved 9 July to 25 May (READ); the package keeps 9 July. It is past.
        ("BR", "SP", sao_paulo, range(2021, YEARS.stop)),
    ],
)
def test_where_the_law_has_the_whole_list_a_clinic_is_closed_on_it_and_on_nothing_else(
    country: str, region: str, law: Law, years: Iterable[int]
) -> None:
    for year in years:
        assert set(public_holidays(country, region, year)) == law(year)


def south_africa(year: int) -> set[date]:
    # Public Holidays Act 36 of 1994, Schedule 1; section 2(1): of one on a Sunday, the Monday is one as well. READ
    days = each_year(
        year, (1, 1), (3, 21), (4, 27), (5, 1), (6, 16), (8, 9), (9, 24), (12, 16), (12, 25), (12, 26)
    ) | after_easter(year, GOOD_FRIDAY, EASTER_MONDAY)
    return days | {day + timedelta(1) for day in days if is_sunday(day)}


def united_states(year: int) -> set[date]:
    # 5 U.S.C. 6103, as the federal courts publish it: of one on a Saturday usually the Friday before, of one on a
    # Sunday the Monday after. READ. Juneteenth since 2021. MEMORY
    days = each_year(year, (1, 1), (7, 4), (11, 11), (12, 25)) | (each_year(year, (6, 19)) if year >= 2021 else set())
    saturdays = {day - timedelta(1) for day in days if day.weekday() == calendar.SATURDAY}
    observed = saturdays | {day + timedelta(1) for day in days if is_sunday(day)}
    mondays = {the_nth(n, calendar.MONDAY, month, year) for n, month in ((3, 1), (3, 2), (-1, 5), (1, 9), (2, 10))}
    return days | mondays | {day for day in observed if day.year == year} | {the_nth(4, calendar.THURSDAY, 11, year)}


def kenya(year: int) -> set[date]:
    # Public Holidays Act, Cap. 110, section 4: one on a Sunday passes to the first day after it that is none. READ
    # The days themselves, Schedule, Part I, and the Constitution's national days. READ-2
    days = each_year(year, (1, 1), (5, 1), (6, 1), (10, 20), (12, 12), (12, 25), (12, 26))
    days |= after_easter(year, GOOD_FRIDAY, EASTER_MONDAY)
    for sunday in sorted(filter(is_sunday, days)):
        days.remove(sunday)
        days.add(next(later for n in (1, 2) if (later := sunday + timedelta(n)) not in days))
    return days


def england(year: int) -> set[date]:
    # Banking and Financial Dealings Act 1971, Schedule 1, paragraph 1 (legislation.gov.uk). READ
    # In 2022 the last Monday of May was moved to 2 June. READ-2
    days = {date(2022, 6, 2) if year == 2022 else the_nth(-1, calendar.MONDAY, 5, year)}
    days |= after_easter(year, EASTER_MONDAY) | {the_nth(-1, calendar.MONDAY, 8, year)}
    christmas, boxing_day, after = (date(year, 12, day) for day in (25, 26, 27))
    days |= {after} if is_sunday(christmas) or is_sunday(boxing_day) else set()
    return days if is_sunday(boxing_day) else days | {boxing_day}


def scotland(year: int) -> set[date]:
    # The same Act, Schedule 1, paragraph 2. READ-2. In 2020 May's was moved to the 8th. MEMORY
    # St Andrew's Day Bank Holiday (Scotland) Act 2007, section 1: 30 November, at a weekend the Monday after. READ
    new_year = {date(year, 1, day) if not is_sunday(date(year, 1, day)) else date(year, 1, 3) for day in (1, 2)}
    christmas = date(year, 12, 26 if is_sunday(date(year, 12, 25)) else 25)
    may = date(2020, 5, 8) if year == 2020 else the_nth(1, calendar.MONDAY, 5, year)
    andrew = date(year, 11, 30)
    andrew += timedelta(7 - andrew.weekday() if andrew.weekday() >= calendar.SATURDAY else 0)
    return after_easter(year, GOOD_FRIDAY) | new_year | {may, the_nth(1, calendar.MONDAY, 8, year), andrew, christmas}


@pytest.mark.parametrize(
    ("country", "region", "law"),
    [
        ("ZA", None, south_africa),
        ("US", None, united_states),
        ("KE", None, kenya),
        ("GB", "ENG", england),
        ("GB", "SCT", scotland),
    ],
)
def test_where_more_days_can_be_proclaimed_a_clinic_is_closed_on_all_that_the_law_has(
    country: str, region: str | None, law: Law
) -> None:
    for year in YEARS:
        assert law(year) - set(public_holidays(country, region, year)) == set()


@pytest.mark.parametrize(
    ("country", "region", "closed", "open_"),
    [
        # Kenya: gazetted for Christmas on a Sunday, Boxing Day having the Monday (Citizen, 7 January 2023). READ
        ("KE", None, date(2022, 12, 27), date(2022, 12, 28)),
        # Kenya: Madaraka Day 2025 was a Sunday; Cap. 110, section 4. CALC
        ("KE", None, date(2025, 6, 2), date(2025, 6, 3)),
        # South Africa: Women's Day 2026 is a Sunday; Act 36 of 1994, section 2(1). CALC
        ("ZA", None, date(2026, 8, 10), date(2026, 8, 11)),
        # Bavaria: 500 years of the Reformation, once (GVBl. 2016 p. 50). READ
        ("DE", "BY", date(2017, 10, 31), date(2018, 10, 31)),
        # Berlin: Women's Day since 2019 (dpa, 24 January 2019). READ
        ("DE", "BE", date(2019, 3, 8), date(2018, 3, 8)),
        # Brazil: Lei 14.759 came into force on 22 December 2023. READ
        ("BR", None, date(2024, 11, 20), date(2023, 11, 20)),
        # United Kingdom: 30 May 2022 moved to 2 June, 3 June added. READ-2
        ("GB", "ENG", date(2022, 6, 3), date(2022, 5, 30)),
        # United Kingdom: the coronation, 8 May 2023 (South Wales Argus, 2 July 2023; the day itself: MEMORY)
        ("GB", "SCT", date(2023, 5, 8), date(2023, 5, 9)),
        # Juneteenth: signed on 17 June 2021. MEMORY
        ("US", None, date(2021, 6, 19), date(2020, 6, 19)),
    ],
)
def test_a_day_that_was_proclaimed_closes_a_clinic_and_its_neighbour_does_not(
    country: str, region: str | None, closed: date, open_: date
) -> None:
    clinic = ClinicCalendar(country=country, region=region)
    assert clinic.why_closed(closed).startswith("public holiday: ")
    assert (clinic.is_open(closed), clinic.is_open(open_)) == (False, True)


@pytest.mark.parametrize(
    ("day", "kept_in", "not_kept_in"),
    [
        (date(2026, 4, 6), ("GB", "ENG"), ("GB", "SCT")),  # Easter Monday: the 1971 Act, paragraph 1 alone. READ
        (date(2026, 11, 30), ("GB", "SCT"), ("GB", "ENG")),  # St Andrew's Day: the 2007 Act. READ
        (date(2026, 6, 4), ("DE", "BY"), ("DE", "BE")),  # Corpus Christi: FTG Art. 1(1). READ
        (date(2027, 3, 8), ("DE", "BE"), ("DE", "BY")),  # Women's Day. READ
        (date(2026, 7, 9), ("BR", "SP"), ("BR", "MG")),  # Lei 9.497/1997. READ
        (date(2026, 7, 2), ("BR", "BA"), ("BR", "SP")),  # Bahia's independence, state constitution, Art. 6. MEMORY
        (date(2026, 6, 24), ("CA", "QC"), ("CA", "ON")),  # National Holiday Act, CQLR c F-1.1. MEMORY
        (date(2026, 1, 15), ("IN", "TN"), ("IN", "KL")),  # Thiruvalluvar Day, Tamil Nadu's list. MEMORY
    ],
)
def test_one_region_keeps_a_day_that_another_does_not(
    day: date, kept_in: tuple[str, str], not_kept_in: tuple[str, str]
) -> None:
    def clinic(place: tuple[str, str]) -> ClinicCalendar:
        return ClinicCalendar(country=place[0], region=place[1])

    assert not clinic(kept_in).is_open(day)
    assert clinic(not_kept_in).is_open(day)


def test_a_visit_due_on_a_gazetted_day_moves_to_the_next_and_says_why() -> None:
    # Nairobi, 27 December 2022 (Tuesday): see above. The Sunday and Monday before it are closed as well.
    clinic = ClinicCalendar(frozenset(range(5)), country="KE")
    due = date(2022, 12, 27)
    chosen, why = clinic.choose(due, due - timedelta(7), due + timedelta(7))
    assert chosen == date(2022, 12, 28)
    assert why.startswith("public holiday: Christmas Day")
    everywhere = ClinicCalendar(frozenset(range(5)))
    assert everywhere.choose(due, due - timedelta(7), due + timedelta(7)) == (due, "")
