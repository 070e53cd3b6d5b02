"""Spans of calendar time, written as ISO 8601 durations (P3M, P14D, P4Y)."""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Self

_DURATION = re.compile(r"P(?=\d)(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?", re.ASCII)


def add_months(anchor: date, months: int) -> date:
    """The same day of the month `months` later (or earlier, when negative).

    Where that month is shorter, its last day: 31 January + 1 month is 28 or 29 February. Always count from
    the anchor, never from the previous result: 31 January + 2 months is 31 March, not 28.
    """
    year, month = divmod(anchor.year * 12 + anchor.month - 1 + months, 12)
    return date(year, month + 1, min(anchor.day, monthrange(year, month + 1)[1]))


@dataclass(frozen=True, slots=True)
class Span:
    """A number of calendar months and of days; months are counted first. Never negative, never empty."""

    months: int = 0
    days: int = 0

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read an ISO 8601 duration of years, months, weeks and days. Raises ValueError for anything else."""
        match = _DURATION.fullmatch(text)
        if match is None:
            raise ValueError(f"{text!r} is not a duration: write it as in P14D, P12W, P3M or P4Y (ISO 8601)")
        years, months, weeks, days = (int(group or 0) for group in match.groups())
        if not (years or months or weeks or days):
            raise ValueError(f"{text!r} is no time at all: a duration must be longer than zero")
        return cls(months=years * 12 + months, days=weeks * 7 + days)

    def __str__(self) -> str:
        years, months = divmod(self.months, 12)
        parts = [
            f"{years}Y" if years else "",
            f"{months}M" if months else "",
            f"{self.days}D" if self.days else "",
        ]
        return "P" + "".join(parts)

    def __add__(self, other: Span) -> Span:
        return Span(self.months + other.months, self.days + other.days)

    def after(self, anchor: date) -> date:
        """The day this span after `anchor`."""
        return add_months(anchor, self.months) + timedelta(days=self.days)

    def before(self, anchor: date) -> date:
        """The day this span before `anchor`."""
        return add_months(anchor, -self.months) - timedelta(days=self.days)

    @property
    def about_days(self) -> float:
        """Length in days, a month taken as 30.44: for comparing spans, never for making dates."""
        return self.months * 30.44 + self.days
