"""The heart: what one child's facts call for at a moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from bracewatch.review import contact
from bracewatch.review.case import Case
from bracewatch.review.contact import Message
from bracewatch.review.flag import Flag
from bracewatch.review.flags import RULES


@dataclass(frozen=True, slots=True)
class Review:
    """What to say now, every flag that stands now, and when to look again without new facts (None: never)."""

    messages: tuple[Message, ...]
    flags: tuple[Flag, ...]
    wake_at: datetime | None


def review(case: Case, now: datetime) -> Review:
    """Review one case at an aware `now`. Pure: the same case and moment give the same answer.

    Raises ValueError for a naive `now`.
    """
    if now.tzinfo is None:
        raise ValueError(f"need an aware datetime: now={now!r}")
    messages, next_message = contact.due(case, now)
    findings = [rule.check(case, now) for rule in RULES]
    flags = sorted((finding.flag for finding in findings if finding.flag), key=lambda flag: flag.urgency)
    moments = [next_message, *(finding.look_again for finding in findings)]
    return Review(tuple(messages), tuple(flags), min((at for at in moments if at is not None), default=None))
