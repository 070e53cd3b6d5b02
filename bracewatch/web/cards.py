"""The call list as it is shown: which families, in which order, with what beside each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from sqlalchemy import Connection

from bracewatch.review import Case
from bracewatch.review.call_list import Card, Standing, in_order
from bracewatch.review.flag import Urgency
from bracewatch.review.flags import RULES
from bracewatch.schedule.local_time import local_day
from bracewatch.store import cases, pages
from bracewatch.web.course import phase_in_short

CARDS_A_PAGE = 40
RULE_ORDER = {rule.code: place for place, rule in enumerate(RULES)}

# Open questions, and no blame in any of them. The first flag of a card chooses.
WHAT_TO_SAY: Mapping[str, str] = {
    "sore-skin": "How do the feet and toes look right now? How long does a red mark stay once the boots are off?",
    "brace-trouble": "What happens when you put the brace on? What have you tried so far?",
    "no-clinic-day": "Which days near this one would suit you for the visit?",
    "asked-for-call": "You asked us to ring: what is on your mind?",
    "unread-reply": "You wrote to us and we want to get it right: what did you want to tell us?",
    "number-fails": "Our texts do not reach you at the moment: which number suits you now, and whose is it?",
    "low-wear": "How have the days and nights with the brace been? What would make it easier?",
    "missed-visit": "We hope all is well. What made it hard to come, and which day would suit you?",
    "step-undecided": "How is it going with the brace? When could you come, so that we can look at the next step?",
    "cannot-come": "Which days suit you better? What would make the way to us easier?",
    "no-reply": "How are things at home with the brace? What is the best way and time to reach you?",
    "wants-no-messages": "We have stopped the texts as you asked. How would you like to stay in touch?",
}


@dataclass(frozen=True, slots=True)
class Shown:
    """A card with what is printed on it. `case` is None for a child without a bracing course."""

    card: Card
    family: pages.Family
    person: pages.Person
    case: Case | None
    phase: str
    called: pages.Called | None
    replies: Sequence[pages.Reply]
    next_id: int | None

    @property
    def flags(self) -> Sequence[Standing]:
        """Its flags, in the order in which they are read."""
        return in_card_order(self.card.flags)

    @property
    def to_say(self) -> str:
        """What could be asked, for the first of its flags."""
        return WHAT_TO_SAY.get(self.flags[0].code, "How are things at home with the brace?")


@dataclass(frozen=True, slots=True)
class CallList:
    """`to_call` is one page of those still to call today, `tried` those called with no news since."""

    to_call: Sequence[Shown]
    tried: Sequence[Shown]
    tried_in_all: int
    by_urgency: Mapping[Urgency, int]
    by_clinic: Mapping[int, int]
    waiting: int  # to call today, on all pages
    pages: int


def call_list(
    connection: Connection, now: datetime, clinic: pages.Clinic | None, urgency: Urgency | None, page: int
) -> CallList:
    """The call list of one clinic (None: of all), of one urgency (None: of every one). Pages count from 1."""
    zones = {each.id: each.zone for each in pages.clinics(connection)}
    rows = pages.on_list(connection)
    tried_ids = {row.card.child_id for row in rows if _tried_today(row, now, zones[row.clinic_id])}
    waiting = [row for row in rows if row.card.child_id not in tried_ids]
    here = [row for row in waiting if clinic is None or row.clinic_id == clinic.id]
    tried = [row for row in rows if row.card.child_id in tried_ids and (clinic is None or row.clinic_id == clinic.id)]
    order = in_order(row.card for row in here if urgency is None or row.card.urgency is urgency)
    start = (page - 1) * CARDS_A_PAGE
    latest = sorted((row.card for row in tried), key=_tried_at, reverse=True)[:CARDS_A_PAGE]
    return CallList(
        to_call=_shown(connection, order[start : start + CARDS_A_PAGE], now),
        tried=_shown(connection, latest, now),
        tried_in_all=len(tried),
        by_urgency=Counter(row.card.urgency for row in here),
        by_clinic=Counter(row.clinic_id for row in waiting),
        waiting=len(order),
        pages=max(-(-len(order) // CARDS_A_PAGE), 1),
    )


def _tried_today(row: pages.OnList, now: datetime, zone: str) -> bool:
    """Called today at the clinic, and nothing new since: neither a reason nor a word from the family."""
    tried_at = row.card.last_tried_at
    if tried_at is None or local_day(tried_at, zone) != local_day(now, zone):
        return False
    return row.last_raised_at <= tried_at and (row.last_heard_at is None or row.last_heard_at <= tried_at)


def _tried_at(card: Card) -> datetime:
    assert card.last_tried_at is not None  # noqa: S101 - only cards that were tried come here
    return card.last_tried_at


def _shown(connection: Connection, cards: Sequence[Card], now: datetime) -> list[Shown]:
    ids = [card.child_id for card in cards]
    families = pages.families(connection, ids)
    by_id = {case.child_id: case for case in cases.load(connection, ids, now)}
    called = pages.last_calls(connection, ids)
    replies = pages.for_a_person(connection, ids)
    following = dict(pairwise(ids))
    return [
        Shown(
            card=card,
            family=(family := families[card.child_id]),
            person=addressed(family, case := by_id.get(card.child_id)),
            case=case,
            phase=phase_in_short(case.timeline, local_day(now, family.clinic.zone)) if case else "No bracing course",
            called=called.get(card.child_id),
            replies=still_open(replies.get(card.child_id, []), case),
            next_id=following.get(card.child_id),
        )
        for card in cards
        if card.child_id in families
    ]


def in_card_order(flags: Iterable[Standing]) -> list[Standing]:
    """The most urgent first; equally urgent ones in the order of the rules, in which skin comes before wear."""
    return sorted(flags, key=lambda flag: (flag.urgency, RULE_ORDER.get(flag.code, len(RULE_ORDER))))


def addressed(family: pages.Family, case: Case | None) -> pages.Person:
    """The caregiver who is written to, or else the first."""
    wanted = case.caregiver.id if case and case.caregiver else None
    return next((person for person in family.people if person.id == wanted), family.people[0])


def still_open(replies: Sequence[pages.Reply], case: Case | None) -> list[pages.Reply]:
    """Replies that came after anyone last spoke with the family: speaking settles the earlier ones."""
    spoken = case.spoken_at if case else None
    return [reply for reply in replies if spoken is None or reply.at > spoken]
