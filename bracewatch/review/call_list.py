"""Whom to call first, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from bracewatch.review.flag import Urgency


@dataclass(frozen=True, slots=True)
class Standing:
    """A flag that stands, as it was written down."""

    code: str
    urgency: Urgency
    sentence: str
    evidence: tuple[str, ...]
    since: datetime


@dataclass(frozen=True, slots=True)
class Card:
    """One family on the call list: its flags, the most urgent first, and the moment of its last call."""

    child_id: int
    flags: tuple[Standing, ...]
    last_tried_at: datetime | None

    @property
    def urgency(self) -> Urgency:
        return self.flags[0].urgency

    @property
    def since(self) -> datetime:
        return min(flag.since for flag in self.flags)


def in_order(cards: Iterable[Card]) -> list[Card]:
    """By urgency; then more reasons before fewer; then the one that has waited longest."""
    return sorted(cards, key=lambda card: (card.urgency, -len(card.flags), card.since))


def by_urgency(flags: Iterable[Standing]) -> tuple[Standing, ...]:
    """The flags of one family as its card shows them."""
    return tuple(sorted(flags, key=lambda flag: (flag.urgency, flag.since)))
