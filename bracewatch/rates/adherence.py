"""How much of the prescribed wear families report, by month and phase, with what is not known beside it.

The unit is the check-in period: a check-in that went out stands for the time until the child's next one.
A period in which no report of wear was heard is unknown. It is never counted as no wear, nor left out in
silence: its share is given, and between which bounds the mean would lie whatever the unknown ones were.

These are family reports, and reports run above sensors: a diary gave 94.9, 95.6 and 94.8 % of the day in
months 1 to 3 where sensors measured 91.7, 86.8 and 77.1 % (Morgenstein A et al. J Pediatr Orthop
2015;35(2):185-191, doi:10.1097/BPO.0000000000000205; READ).
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from itertools import pairwise
from math import fsum

LONGEST_PERIOD = timedelta(days=14)
TIME_TO_ANSWER = timedelta(days=2)


class Group(StrEnum):
    """Phases that are shown as one."""

    FULL_TIME = "full_time"
    STEPPING_DOWN = "stepping_down"
    NIGHTS = "nights"

    @property
    def words(self) -> str:
        return {"full_time": "Full time", "stepping_down": "Stepping down", "nights": "Nights"}[self.value]


def group_of(asks: str, *, is_first: bool) -> Group:
    """The group of a phase: by what is asked in it, "hours" or "nights", and whether the course begins with it."""
    if asks == "nights":
        return Group.NIGHTS
    return Group.FULL_TIME if is_first else Group.STEPPING_DOWN


@dataclass(frozen=True, slots=True)
class CheckIn:
    """A check-in that was sent. `child` only tells children apart; `month` is the clinic's, by its first day.

    `group` and `phase` (its own name) are those in force on the day; None and "" when no brace was prescribed.
    """

    child: int
    sent_at: datetime
    month: date
    group: Group | None
    phase: str


@dataclass(frozen=True, slots=True)
class Report:
    """Wear that a family reported, as a share of what was prescribed, 0 to 1."""

    child: int
    heard_at: datetime
    share: float

    def __post_init__(self) -> None:
        if not 0 <= self.share <= 1:
            raise ValueError(f"a share goes from 0 to 1: {self.share!r}")


@dataclass(frozen=True, slots=True)
class Period:
    """One check-in period. `share` is the mean of what was reported in it, 0 to 1; None when nothing was."""

    child: int
    month: date
    group: Group
    phase: str
    share: float | None


@dataclass(frozen=True, slots=True)
class Adherence:
    """A month and group. At least one period; `known_mean` is None when all of them are unknown."""

    month: date
    group: Group
    phases: tuple[str, ...]
    children: int
    periods: int
    known: int
    known_sum: float

    @property
    def unknown(self) -> int:
        return self.periods - self.known

    @property
    def unknown_share(self) -> float:
        """Unknown ÷ all periods, 0 to 1."""
        return self.unknown / self.periods

    @property
    def known_mean(self) -> float | None:
        """Mean reported share of the known periods, 0 to 1. Each period counts once, long or short."""
        return self.known_sum / self.known if self.known else None

    @property
    def lowest(self) -> float:
        """The mean over all periods if nothing had been worn in every unknown one."""
        return self.known_sum / self.periods

    @property
    def highest(self) -> float:
        """The mean over all periods if all that was prescribed had been worn in every unknown one."""
        return (self.known_sum + self.unknown) / self.periods


def periods(check_ins: Iterable[CheckIn], reports: Iterable[Report], now: datetime) -> list[Period]:
    """The check-in periods up to `now`, ordered by child and time; the input may come in any order.

    A period runs from its check-in up to, not including, the next check-in of the child, 14 days at most. A
    check-in without a report that is less than two days old is still open for an answer and left out; so are
    check-ins on days for which no brace was prescribed.
    """
    heard: dict[int, list[Report]] = defaultdict(list)
    for report in reports:
        if report.heard_at <= now:
            heard[report.child].append(report)
    sent: dict[int, list[CheckIn]] = defaultdict(list)
    for check_in in check_ins:
        if check_in.sent_at <= now:
            sent[check_in.child].append(check_in)
    return [
        period
        for child in sorted(sent)
        for period in _of_child(sorted(sent[child], key=_in_time), sorted(heard[child], key=_heard_at), now)
    ]


def _in_time(check_in: CheckIn) -> tuple[datetime, date, str, str]:
    return check_in.sent_at, check_in.month, check_in.group or "", check_in.phase


def _heard_at(report: Report) -> datetime:
    return report.heard_at


def _of_child(check_ins: list[CheckIn], reports: list[Report], now: datetime) -> Iterator[Period]:
    """Both lists in order of time."""
    moments = [report.heard_at for report in reports]
    for check_in, following in pairwise([*check_ins, None]):
        assert check_in is not None  # noqa: S101 - only the end of the row is None
        if check_in.group is None:
            continue
        end = check_in.sent_at + LONGEST_PERIOD
        if following is not None:
            end = min(end, following.sent_at)
        first, past = bisect_left(moments, check_in.sent_at), bisect_left(moments, end)
        shares = [report.share for report in reports[first:past]]
        if not shares and now - check_in.sent_at < TIME_TO_ANSWER:
            continue
        mean = fsum(shares) / len(shares) if shares else None
        yield Period(check_in.child, check_in.month, check_in.group, check_in.phase, mean)


def by_month(given: Iterable[Period]) -> list[Adherence]:
    """One row a month and group that has periods, months in order, groups in the order of a course."""
    rows: dict[tuple[date, Group], list[Period]] = defaultdict(list)
    for period in given:
        rows[period.month, period.group].append(period)
    order = list(Group)
    return [
        _row(month, group, rows[month, group])
        for month, group in sorted(rows, key=lambda key: (key[0], order.index(key[1])))
    ]


def _row(month: date, group: Group, members: list[Period]) -> Adherence:
    shares = [period.share for period in members if period.share is not None]
    return Adherence(
        month=month,
        group=group,
        phases=tuple(sorted({period.phase for period in members})),
        children=len({period.child for period in members}),
        periods=len(members),
        known=len(shares),
        known_sum=fsum(shares),
    )
