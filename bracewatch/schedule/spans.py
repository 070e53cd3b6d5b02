"""Spans of calendar time, written as ISO 8601 durations (P3M, P14D, P4Y)."""

from __future__ import annotations

import re
from calendar import isleap
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Self

_DURATION = re.compile(r"P(?=\d)(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?", re.ASCII)
_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)  # of January to December, in a common year
_MOST_DAYS = 36_525


def add_months(anchor: date, months: int) -> date:
    """The same day of the month `months` later (or earlier, when negative).

    Where that month is shorter, its last day: 31 January + 1 month is 28 or 29 February. Always count from
    the anchor, never from the previous result: 31 January + 2 months is 31 March, not 28.
    """
    month = anchor.year * 12 + anchor.month - 1 + months
    day = anchor.day
    if day > 28:
        day = min(day, _length(month))
    return date(month // 12, month % 12 + 1, day)


def _length(month: int) -> int:
    """The days of a month, months being counted from the start of the year 0."""
    return 29 if month % 12 == 1 and isleap(month // 12) else _LENGTHS[month % 12]


def days_after(anchor: date, months: int, days: int) -> date:
    """The day so many calendar months, and then so many days, after `anchor`."""
    day = add_months(anchor, months) if months else anchor
    return day + timedelta(days) if days else day


@dataclass(frozen=True, slots=True)
class Span:
    """A number of calendar months and of days; months are counted first. Never negative, never empty."""

    months: int = 0
    days: int = 0
    delta: timedelta = field(init=False, repr=False, compare=False)  # `days`, ready to be added

    def __post_init__(self) -> None:
        object.__setattr__(self, "delta", timedelta(self.days))

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read an ISO 8601 duration of years, months, weeks and days. Raises ValueError for anything else."""
        match = _DURATION.fullmatch(text)
        if match is None:
            raise ValueError(f"{text!r} is not a duration: write it as in P14D, P12W, P3M or P4Y (ISO 8601)")
        years, months, weeks, days = (int(group or 0) for group in match.groups())
        if not (years or months or weeks or days):
            raise ValueError(f"{text!r} is no time at all: a duration must be longer than zero")
        span = cls(months=years * 12 + months, days=min(weeks * 7 + days, _MOST_DAYS + 1))
        if span.about_days > _MOST_DAYS:
            raise ValueError(f"{text!r} is more than a hundred years: no bracing lasts so long")
        return span

    def __str__(self) -> str:
        years, months = divmod(self.months, 12)
        parts = [
            f"{years}Y" if years else "",
            f"{months}M" if months else "",
            f"{self.days}D" if self.days else "",
        ]
        return "P" + "".join(parts)

    def after(self, anchor: date) -> date:
        """The day this span after `anchor`."""
        return (add_months(anchor, self.months) if self.months else anchor) + self.delta

    def before(self, anchor: date) -> date:
        """The day this span before `anchor`."""
        return (add_months(anchor, -self.months) if self.months else anchor) - self.delta

    @property
    def about_days(self) -> float:
        """Length in days, a month taken as 30.44: for comparing spans, never for making dates."""
        return self.months * 30.44 + self.days


def row(anchor: date, since: tuple[int, int], step: Span, stop: date, most: int) -> list[date]:
    """The days one, two, three… steps beyond `since` (months, days), up to and including `stop`, at most `most`.

    Each is counted from the anchor, as `Span.after` does; written out because whole courses are made of these.
    """
    months, days = since
    day, month = anchor.day, anchor.year * 12 + anchor.month - 1 + months
    step_months, step_days = step.months, step.days
    extra = timedelta(days)
    found: list[date] = []
    for _ in range(most):
        month += step_months
        due = date(month // 12, month % 12 + 1, day if day <= 28 else min(day, _length(month)))
        if step_days:
            days += step_days
            extra = timedelta(days)
        if days:
            due += extra
        if due > stop:
            break
        found.append(due)
    return found
