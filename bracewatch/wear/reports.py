"""Wear reports as they came, and what they say next to what was prescribed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

NIGHTS_ASKED = 7


class WearKind(StrEnum):
    HOURS = "hours"  # hours on one day
    NIGHTS = "nights"  # nights of the seven up to `day`


@dataclass(frozen=True, slots=True)
class WearReport:
    """One report: `low` to `high` hours on `day`, or nights of the seven that end with `day`.

    A single figure has low = high. `heard_at` is an aware datetime.
    """

    kind: WearKind
    day: date
    low: float
    high: float
    heard_at: datetime

    def __post_init__(self) -> None:
        most = 24 if self.kind is WearKind.HOURS else NIGHTS_ASKED
        if not 0 <= self.low <= self.high <= most:
            raise ValueError(f"{self.kind} go from 0 to {most}, low before high: {self.low:g} to {self.high:g} given")
        if self.heard_at.tzinfo is None:
            raise ValueError(f"need an aware datetime: heard_at={self.heard_at!r}")

    def share(self, hours_prescribed: float) -> float:
        """Worn ÷ prescribed, 0 to 1. The lower end of what was reported counts; more than prescribed is 1.

        Nights are counted against seven: how long each night was is not known.
        """
        if self.kind is WearKind.NIGHTS:
            return self.low / NIGHTS_ASKED
        if hours_prescribed <= 0:
            raise ValueError(f"prescribed hours must be above zero: {hours_prescribed!r}")
        return min(self.low / hours_prescribed, 1.0)

    def in_words(self) -> str:
        """The figure for staff, as in "4 h" or "5 of 7 nights"."""
        figure = f"{self.low:g}" if self.low == self.high else f"{self.low:g}-{self.high:g}"
        return f"{figure} h" if self.kind is WearKind.HOURS else f"{figure} of 7 nights"


def last_word(reports: Iterable[WearReport]) -> list[WearReport]:
    """One report a day and kind, the one heard last (a correction), in order of the day."""
    latest: dict[tuple[date, WearKind], WearReport] = {}
    for report in sorted(reports, key=lambda report: report.heard_at):
        latest[report.day, report.kind] = report
    return sorted(latest.values(), key=lambda report: (report.day, report.kind))
