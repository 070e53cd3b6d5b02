"""How many check-ins went out and how many were answered in time."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from bracewatch.rates.adherence import TIME_TO_ANSWER, CheckIn


@dataclass(frozen=True, slots=True)
class Heard:
    """Something a family wrote, whatever it says. `child` only tells children apart."""

    child: int
    at: datetime


@dataclass(frozen=True, slots=True)
class Replies:
    """A month's check-ins: `sent` in all, to the families of so many `children`; of them `waiting` less than two
    days old, and `answered` of the rest."""

    month: date
    children: int
    sent: int
    waiting: int
    answered: int

    @property
    def answerable(self) -> int:
        """Check-ins that have had their two days."""
        return self.sent - self.waiting

    @property
    def answered_share(self) -> float | None:
        """Answered ÷ those that have had their two days, 0 to 1; None when there are none yet."""
        return self.answered / self.answerable if self.answerable else None


def by_month(check_ins: Iterable[CheckIn], heard: Iterable[Heard], now: datetime) -> list[Replies]:
    """One row a month with check-ins, in order; the input may come in any order.

    A check-in is answered when the family wrote anything at all from the moment it was sent to less than two
    days later. One that is less than two days old waits, answered or not: counting only the quick answers
    would make the newest month look better than it is.
    """
    written: dict[int, list[datetime]] = defaultdict(list)
    for reply in heard:
        written[reply.child].append(reply.at)
    for moments in written.values():
        moments.sort()
    children: dict[date, set[int]] = defaultdict(set)
    sent: Counter[date] = Counter()
    waiting: Counter[date] = Counter()
    answered: Counter[date] = Counter()
    for check_in in check_ins:
        if check_in.sent_at > now:
            continue
        children[check_in.month].add(check_in.child)
        sent[check_in.month] += 1
        if now - check_in.sent_at < TIME_TO_ANSWER:
            waiting[check_in.month] += 1
        elif _is_answered(check_in, written.get(check_in.child, [])):
            answered[check_in.month] += 1
    return [
        Replies(month, len(children[month]), sent[month], waiting[month], answered[month]) for month in sorted(sent)
    ]


def _is_answered(check_in: CheckIn, moments: list[datetime]) -> bool:
    """`moments` in order of time."""
    place = bisect_left(moments, check_in.sent_at)
    return place < len(moments) and moments[place] - check_in.sent_at < TIME_TO_ANSWER
