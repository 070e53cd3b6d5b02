"""What a flag is, and what a rule that raises one must bring."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import IntEnum

from bracewatch.review.case import Case, Heard


class Urgency(IntEnum):
    """How soon somebody must act. Lower is sooner."""

    NOW = 1
    TODAY = 2
    THIS_WEEK = 3

    @property
    def words(self) -> str:
        return {1: "needs someone now", 2: "today", 3: "this week"}[self]


@dataclass(frozen=True, slots=True)
class Flag:
    """Something staff must know about one child.

    `sentence` says in plain words why it was raised; `evidence` holds what it rests on; `since` is when the
    reason began, an aware datetime.
    """

    code: str
    urgency: Urgency
    sentence: str
    evidence: tuple[str, ...]
    since: datetime


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule found: a flag or none, and the next moment at which that could change without new facts."""

    flag: Flag | None = None
    look_again: datetime | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule: stable code, title for staff, where it comes from, and the pure check."""

    code: str
    title: str
    source: str
    check: Callable[[Case, datetime], Finding]


NOTHING = Finding()


def in_words(day: date) -> str:
    """A day for staff, as in "24 Nov 2026"."""
    return f"{day.day} {day:%b %Y}"


def days_ago(days: int) -> str:
    """As in "today", "yesterday", "12 days ago"."""
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")


def quoted(body: str, limit: int = 80) -> str:
    """What a caregiver wrote, in quotation marks, shortened where long; what it may have been, when no text came."""
    text = " ".join(body.split())
    if not text:
        return "a message without text, perhaps a picture"
    return f"“{text if len(text) <= limit else text[: limit - 1] + '…'}”"


def from_replies(case: Case, code: str, urgency: Urgency, replies: Sequence[Heard], sentence: str) -> Finding:
    """A flag that rests on what the family wrote, oldest reply first; nothing without a reply.

    `sentence` may hold {day}, the clinic's day of the oldest of them.
    """
    if not replies:
        return NOTHING
    first = replies[0]
    return Finding(
        Flag(
            code=code,
            urgency=urgency,
            sentence=sentence.format(day=in_words(case.clinic_day(first.at))),
            evidence=tuple(quoted(reply.body) for reply in replies),
            since=first.at,
        )
    )
