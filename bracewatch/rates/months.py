"""Calendar months, each named by its first day."""

from __future__ import annotations

from datetime import date


def month_of(day: date) -> date:
    """The first day of that day's month."""
    return day.replace(day=1)


def months_up_to(last: date, number: int) -> tuple[date, ...]:
    """`number` months in order, the last of them the month of `last`. Raises ValueError for fewer than one."""
    if number < 1:
        raise ValueError(f"need at least one month: {number!r}")
    end = last.year * 12 + last.month - 1
    return tuple(date(place // 12, place % 12 + 1, 1) for place in range(end - number + 1, end + 1))
