"""Shares and months in words."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.rates.months import month_of, months_up_to
from bracewatch.rates.wording import month_in_short, month_in_words, percent


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "0 %"), (0.004, "<1 %"), (0.006, "1 %"), (0.62, "62 %"), (0.996, ">99 %"), (1.0, "100 %")],
)
def test_a_share_is_rounded_but_never_to_none_or_all(share: float, words: str) -> None:
    assert percent(share).replace("\N{NO-BREAK SPACE}", " ") == words


@pytest.mark.parametrize("share", [-0.001, 1.001, 62.0, float("nan")])
def test_what_is_no_share_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="from 0 to 1"):
        percent(share)


def test_a_month_in_words() -> None:
    assert month_in_words(date(2026, 10, 1)) == "October 2026"
    assert month_in_short(date(2026, 10, 1)) == "Oct"


def test_months_up_to_a_day_cross_the_turn_of_the_year() -> None:
    assert months_up_to(date(2026, 2, 28), 3) == (date(2025, 12, 1), date(2026, 1, 1), date(2026, 2, 1))


def test_fewer_than_one_month_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one month"):
        months_up_to(date(2026, 2, 28), 0)


@given(st.dates(date(1950, 1, 1)), st.integers(1, 60))
def test_months_up_to_are_all_there_without_gap(last: date, number: int) -> None:
    months = months_up_to(last, number)
    assert len(months) == number
    assert months[-1] == month_of(last)
    assert all((b.year - a.year) * 12 + b.month - a.month == 1 for a, b in pairwise(months))
