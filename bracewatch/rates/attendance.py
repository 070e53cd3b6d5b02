"""Which of the visits that were due were kept, and whether in time."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from bracewatch.rates.months import month_of


class Outcome(StrEnum):
    """What became of a visit that was due. `STILL_OPEN`: not kept so far, its window is not over yet."""

    ON_TIME = "on_time"
    LATE = "late"
    STILL_OPEN = "still_open"
    NOT_KEPT = "not_kept"


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A visit planned for `day`. It is due from `due_from` on (the day and the grace have passed).

    `closes` is the last day on which it counts as kept in time; `kept` the day the child came, None if it did
    not.
    """

    day: date
    due_from: date
    closes: date
    kept: date | None


@dataclass(frozen=True, slots=True)
class Attendance:
    """A month's visits by what became of them; the month is that of the planned day."""

    month: date
    on_time: int
    late: int
    still_open: int
    not_kept: int

    @property
    def due(self) -> int:
        """All visits that were due."""
        return self.on_time + self.late + self.still_open + self.not_kept

    @property
    def kept(self) -> int:
        return self.on_time + self.late


def outcome(visit: PlannedVisit, today: date) -> Outcome | None:
    """What became of the visit as of `today` at its clinic; None while it is not due, kept already or not.

    In time is up to the last day of the window; a visit that was kept early is not late.
    """
    if today < visit.due_from:
        return None
    if visit.kept is not None:
        return Outcome.ON_TIME if visit.kept <= visit.closes else Outcome.LATE
    return Outcome.STILL_OPEN if today <= visit.closes else Outcome.NOT_KEPT


def by_month(visits: Iterable[tuple[PlannedVisit, date]]) -> list[Attendance]:
    """One row a month with visits that were due, in order. Each visit comes with the day it is at its clinic."""
    counts: dict[date, Counter[Outcome]] = defaultdict(Counter)
    for visit, today in visits:
        became = outcome(visit, today)
        if became is not None:
            counts[month_of(visit.day)][became] += 1
    return [
        Attendance(
            month,
            on_time=count[Outcome.ON_TIME],
            late=count[Outcome.LATE],
            still_open=count[Outcome.STILL_OPEN],
            not_kept=count[Outcome.NOT_KEPT],
        )
        for month, count in sorted(counts.items())
    ]
