from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule.clinic_days import ClinicCalendar, parse_weekdays

TUESDAY = date(2026, 11, 24)


def test_weekday_words_are_read_in_any_case_and_order() -> None:
    assert parse_weekdays("Fri, tue") == frozenset({1, 4})


@pytest.mark.parametrize("text", ["", ",", "blue", "tue,blue", "tuesday"])
def test_unknown_weekdays_are_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(ValueError, match="mon, tue, wed"):
        parse_weekdays(text)


def test_the_nearest_open_day_is_chosen() -> None:
    clinic = ClinicCalendar(frozenset({1}))
    window = TUESDAY - timedelta(days=7), TUESDAY + timedelta(days=7)
    assert clinic.nearest_open(TUESDAY + timedelta(days=2), *window) == TUESDAY


def test_of_two_days_equally_near_the_later_is_chosen() -> None:
    clinic = ClinicCalendar(frozenset({1, 3}))
    wednesday = TUESDAY + timedelta(days=1)
    assert clinic.nearest_open(wednesday, wednesday - timedelta(days=3), wednesday + timedelta(days=3)) == (
        TUESDAY + timedelta(days=2)
    )


def test_a_closed_day_is_passed_over() -> None:
    clinic = ClinicCalendar(frozenset({1}), {TUESDAY: "stocktaking"})
    day = clinic.nearest_open(TUESDAY, TUESDAY - timedelta(days=7), TUESDAY + timedelta(days=7))
    assert day == TUESDAY + timedelta(days=7)


def test_a_window_without_an_open_day_gives_none_never_a_day_outside_it() -> None:
    clinic = ClinicCalendar(frozenset({1}), {TUESDAY: "stocktaking"})
    assert clinic.nearest_open(TUESDAY, TUESDAY - timedelta(days=6), TUESDAY + timedelta(days=6)) is None


@given(
    st.frozensets(st.integers(0, 6), min_size=1),
    st.dates(date(2020, 1, 1), date(2040, 1, 1)),
    st.integers(0, 40),
    st.integers(0, 40),
    st.frozensets(st.integers(-40, 40), max_size=20),
)
def test_the_chosen_day_is_open_inside_the_window_and_none_is_nearer(
    weekdays: frozenset[int], due: date, before: int, after: int, closed: frozenset[int]
) -> None:
    clinic = ClinicCalendar(weekdays, {due + timedelta(days=n): "closed" for n in closed})
    opens, closes = due - timedelta(days=before), due + timedelta(days=after)
    chosen = clinic.nearest_open(due, opens, closes)
    open_days = [opens + timedelta(days=n) for n in range((closes - opens).days + 1)]
    open_days = [day for day in open_days if clinic.is_open(day)]
    if chosen is None:
        assert open_days == []
    else:
        assert chosen in open_days
        assert abs(chosen - due) == min(abs(day - due) for day in open_days)
