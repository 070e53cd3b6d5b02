"""The heart: what one child's facts call for at a moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from bracewatch.review import bookings, contact
from bracewatch.review.bookings import Booking
from bracewatch.review.case import Case
from bracewatch.review.contact import Message
from bracewatch.review.flag import Flag
from bracewatch.review.flags import RULES


@dataclass(frozen=True, slots=True)
class Review:
    """What to say now, every flag that stands now, and when to look again without new facts (None: never).

    `bookings` are visits that have come near enough to be held on the day chosen for them.
    """

    messages: tuple[Message, ...]
    flags: tuple[Flag, ...]
    wake_at: datetime | None
    bookings: tuple[Booking, ...] = ()


def review(case: Case, now: datetime) -> Review:
    """Review one case at an aware `now`. Pure: the same case and moment give the same answer.

    Raises ValueError for a naive `now`.
    """
    if now.tzinfo is None:
        raise ValueError(f"need an aware datetime: now={now!r}")
    messages, next_message = contact.due(case, now)
    findings = [rule.check(case, now) for rule in RULES]
    flags = sorted((finding.flag for finding in findings if finding.flag), key=lambda flag: flag.urgency)
    near, next_booking = bookings.due(case, now)
    moments = [next_message, next_booking, *(finding.look_again for finding in findings)]
    wake_at = min((at for at in moments if at is not None), default=None)
    return Review(tuple(messages), tuple(flags), wake_at, tuple(near))
