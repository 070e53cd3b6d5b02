"""Visits kept, by hand-worked examples (CALC)."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.rates.attendance import Attendance, Outcome, PlannedVisit, by_month, outcome

DAY = date(2026, 10, 6)
DUE_FROM = date(2026, 10, 7)  # one day of grace
CLOSES = date(2026, 10, 13)


def visit(kept: date | None = None, *, day: date = DAY, closes: date = CLOSES) -> PlannedVisit:
    return PlannedVisit(day, day + timedelta(days=1), closes, kept)


@pytest.mark.parametrize("kept", [DAY, CLOSES, date(2026, 9, 30)])
def test_a_visit_kept_by_the_last_day_of_its_window_is_in_time(kept: date) -> None:
    assert outcome(visit(kept), date(2026, 11, 1)) is Outcome.ON_TIME


def test_a_visit_kept_the_day_after_its_window_is_late() -> None:
    assert outcome(visit(CLOSES + timedelta(days=1)), date(2026, 11, 1)) is Outcome.LATE


def test_a_visit_is_due_once_its_day_and_the_grace_have_passed() -> None:
    assert outcome(visit(), DUE_FROM) is Outcome.STILL_OPEN
    assert outcome(visit(), DAY) is None


def test_a_visit_kept_ahead_of_its_day_is_not_counted_before_it_is_due() -> None:
    # Otherwise the newest month would hold only those who came.
    assert outcome(visit(DAY - timedelta(days=2)), DAY) is None


def test_a_visit_that_was_not_kept_stays_open_until_its_window_has_closed() -> None:
    assert outcome(visit(), CLOSES) is Outcome.STILL_OPEN
    assert outcome(visit(), CLOSES + timedelta(days=1)) is Outcome.NOT_KEPT


def test_a_visit_moved_past_its_window_and_kept_then_is_late() -> None:
    moved_to = date(2026, 10, 20)
    assert outcome(visit(moved_to, day=moved_to), date(2026, 11, 1)) is Outcome.LATE


def test_a_month_counts_what_became_of_its_visits() -> None:
    """CALC: October: 2 in time, 1 late, 1 open, 1 not kept, 1 not due yet and left out: due 5, kept 3."""
    today = date(2026, 10, 14)
    visits = [
        visit(DAY),
        visit(CLOSES),
        visit(date(2026, 10, 14)),
        visit(closes=date(2026, 10, 31)),
        visit(),
        visit(day=date(2026, 10, 14)),
    ]
    (row,) = by_month((each, today) for each in visits)
    assert row == Attendance(date(2026, 10, 1), on_time=2, late=1, still_open=1, not_kept=1)
    assert (row.due, row.kept) == (5, 3)


def test_the_month_is_that_of_the_planned_day_not_of_the_day_the_child_came() -> None:
    (row,) = by_month([(visit(date(2026, 11, 3)), date(2026, 11, 20))])
    assert row.month == date(2026, 10, 1)


def test_without_visits_due_there_is_no_month() -> None:
    assert by_month([(visit(), DAY)]) == []


days = st.dates(date(2026, 1, 1), date(2026, 12, 31))


@given(st.lists(st.tuples(days, days, st.none() | days), max_size=20), days, st.randoms(use_true_random=False))
def test_every_visit_that_is_due_is_counted_once_in_any_order(
    given_days: list[tuple[date, date, date | None]], today: date, dice: object
) -> None:
    visits = [(visit(kept, day=day, closes=closes), today) for day, closes, kept in given_days]
    rows = by_month(visits)
    assert sum(row.due for row in rows) == sum(each.due_from <= today for each, _ in visits)
    dice.shuffle(visits)  # type: ignore[attr-defined]
    assert by_month(visits) == rows
