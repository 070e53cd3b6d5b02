"""What the pages show, read as plain rows: a fixed number of queries a page, however many families are on it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Row, Select, func, or_, select

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.review.call_list import Card, Standing, by_urgency
from bracewatch.review.flag import Urgency
from bracewatch.review.flags.unread_reply import ONLY_A_PERSON, WITH_A_FLAG_OF_THEIR_OWN
from bracewatch.store import tables as t


@dataclass(frozen=True, slots=True)
class Clinic:
    """`part_price`: what one part of a text costs in `part_currency`, as the clinic says; both None: nobody said."""

    id: int
    key: str
    name: str
    zone: str
    phone: str
    part_price: float | None
    part_currency: str | None


@dataclass(frozen=True, slots=True)
class Person:
    """A caregiver."""

    id: int
    name: str
    phone: str
    language: str
    zone: str
    contact_time: str  # as in "18:00"
    agreed_at: datetime | None
    stopped_at: datetime | None
    stopped_why: str | None


@dataclass(frozen=True, slots=True)
class Family:
    """A child and the people round it, in the order in which they were written down; there is at least one."""

    child_id: int
    name: str
    born: date
    enrolled_on: date
    clinic: Clinic
    people: tuple[Person, ...]


@dataclass(frozen=True, slots=True)
class Called:
    child_id: int
    at: datetime
    outcome: str
    note: str


@dataclass(frozen=True, slots=True)
class Reply:
    """A reply as it came and as it was read."""

    id: int
    child_id: int | None
    phone: str
    body: str
    at: datetime
    asked: Asked
    meaning: Meaning
    about: str | None
    value: tuple[float, float] | None
    rule: str
    next: Next
    handled_at: datetime | None


@dataclass(frozen=True, slots=True)
class Sent:
    """A message of ours. `at` is when it went out; for one that has not, when it was or is due.

    `delivery` is what the network last reported of it, `delivery_code` its error code; None: nothing so far.
    """

    id: int
    kind: str
    asks: Asked
    language: str
    body: str
    parts: int
    state: str
    error: str | None
    delivery: str | None
    delivery_code: str | None
    at: datetime


@dataclass(frozen=True, slots=True)
class OnList:
    """A family with standing flags: its card, and what tells whether something new came after the last call."""

    card: Card
    clinic_id: int
    last_raised_at: datetime
    last_heard_at: datetime | None


@dataclass(frozen=True, slots=True)
class FlagLine:
    """A flag that stands, or stood until `cleared_at`."""

    standing: Standing
    raised_at: datetime
    cleared_at: datetime | None


@dataclass(frozen=True, slots=True)
class Feet:
    """What was treated, and the degrees written down at the end of casting (None: not written down)."""

    course_number: int
    sides: str
    foot: str
    abduction_before_release: float | None
    abduction_last_cast: float | None
    dorsiflexion: float | None


def clinics(connection: Connection) -> list[Clinic]:
    """Every clinic, by name."""
    return [_clinic(row) for row in connection.execute(select(t.clinic).order_by(t.clinic.c.name))]


def on_list(connection: Connection) -> list[OnList]:
    """Every family with a standing flag, in no order."""
    flags: dict[int, list[Row[Any]]] = defaultdict(list)
    standing = (
        select(t.flag, t.child.c.clinic_id)
        .join(t.child, t.child.c.id == t.flag.c.child_id)
        .where(t.flag.c.cleared_at.is_(None))
    )
    for row in connection.execute(standing):
        flags[row.child_id].append(row)
    flagged = select(t.flag.c.child_id).where(t.flag.c.cleared_at.is_(None))
    called = _latest(connection, t.call.c.child_id, t.call.c.called_at, flagged)
    heard = _latest(connection, t.inbound.c.child_id, t.inbound.c.received_at, flagged)
    return [
        OnList(
            Card(child_id, by_urgency(_standing(row) for row in rows), called.get(child_id)),
            rows[0].clinic_id,
            max(row.raised_at for row in rows),
            heard.get(child_id),
        )
        for child_id, rows in flags.items()
    ]


def families(connection: Connection, child_ids: Sequence[int]) -> dict[int, Family]:
    """Those families by child id; ids that are nobody's are left out."""
    people: dict[int, list[Person]] = defaultdict(list)
    query = select(t.caregiver).where(t.caregiver.c.child_id.in_(child_ids)).order_by(t.caregiver.c.id)
    for row in connection.execute(query):
        people[row.child_id].append(_person(row))
    by_id = {clinic.id: clinic for clinic in clinics(connection)}
    children = connection.execute(select(t.child).where(t.child.c.id.in_(child_ids)))
    return {
        row.id: Family(row.id, row.name, row.born, row.enrolled_on, by_id[row.clinic_id], tuple(people[row.id]))
        for row in children
        if people[row.id]
    }


def find(
    connection: Connection, words: str, clinic_id: int | None, *, limit: int, offset: int = 0
) -> tuple[list[int], int]:
    """Child ids by name of the child, and how many there are in all.

    `words` is part of a child's or caregiver's name, or the last digits of a phone; empty finds everybody.
    """
    query = select(t.child.c.id)
    if clinic_id is not None:
        query = query.where(t.child.c.clinic_id == clinic_id)
    if words:
        match = t.caregiver.c.name.icontains(words, autoescape=True)
        if digits := "".join(letter for letter in words if letter.isdecimal()):
            match = or_(match, t.caregiver.c.phone.endswith(digits, autoescape=True))
        theirs = select(t.caregiver.c.child_id).where(match)
        query = query.where(or_(t.child.c.name.icontains(words, autoescape=True), t.child.c.id.in_(theirs)))
    total = connection.execute(select(func.count()).select_from(query.subquery())).scalar_one()
    found = connection.execute(query.order_by(t.child.c.name, t.child.c.id).limit(limit).offset(offset))
    return list(found.scalars()), total


def last_calls(connection: Connection, child_ids: Sequence[int]) -> dict[int, Called]:
    """The last call to each of those families that was ever called."""
    query = select(t.call).where(t.call.c.child_id.in_(child_ids)).order_by(t.call.c.called_at, t.call.c.id)
    return {row.child_id: _called(row) for row in connection.execute(query)}


def calls_of(connection: Connection, child_id: int) -> list[Called]:
    """Every call to a family, the last one first."""
    query = select(t.call).where(t.call.c.child_id == child_id).order_by(t.call.c.called_at.desc(), t.call.c.id.desc())
    return [_called(row) for row in connection.execute(query)]


def last_heard(connection: Connection, child_ids: Sequence[int]) -> dict[int, datetime]:
    """When each of those families last wrote."""
    return _latest(connection, t.inbound.c.child_id, t.inbound.c.received_at, child_ids)


def last_sent(connection: Connection, child_ids: Sequence[int]) -> dict[int, Sent]:
    """The last message that went out to each of those families."""
    latest = (
        select(t.outbox.c.child_id, func.max(t.outbox.c.sent_at).label("sent_at"))
        .where(t.outbox.c.child_id.in_(child_ids), t.outbox.c.sent_at.is_not(None))
        .group_by(t.outbox.c.child_id)
        .subquery()
    )
    query = (
        select(t.outbox)
        .join(latest, (latest.c.child_id == t.outbox.c.child_id) & (latest.c.sent_at == t.outbox.c.sent_at))
        .order_by(t.outbox.c.id)
    )
    return {row.child_id: _sent(row) for row in connection.execute(query)}


def for_a_person(connection: Connection, child_ids: Sequence[int]) -> dict[int, list[Reply]]:
    """Replies of those families that wait for a person to read them, oldest first.

    Those that say what they want are left out: they have a flag of their own, which a call settles.
    """
    waiting = _for_a_person().where(
        t.inbound.c.child_id.in_(child_ids), t.inbound.c.meaning.not_in(WITH_A_FLAG_OF_THEIR_OWN)
    )
    replies: dict[int, list[Reply]] = defaultdict(list)
    for row in connection.execute(waiting):
        replies[row.child_id].append(_reply(row))
    return replies


def from_unknown_numbers(connection: Connection) -> list[Reply]:
    """Replies from numbers that are no family's and that nobody has dealt with, oldest first."""
    return [_reply(row) for row in connection.execute(_for_a_person().where(t.inbound.c.child_id.is_(None)))]


def thread(connection: Connection, child_id: int, *, latest: int | None = None) -> list[Sent | Reply]:
    """What was said to a family and by it, oldest first; only the `latest` lines when given."""
    sent = select(t.outbox).where(t.outbox.c.child_id == child_id)
    heard = select(t.inbound).where(t.inbound.c.child_id == child_id)
    sent = sent.order_by(func.coalesce(t.outbox.c.sent_at, t.outbox.c.due_at).desc(), t.outbox.c.id.desc())
    heard = heard.order_by(t.inbound.c.received_at.desc(), t.inbound.c.id.desc())
    lines: list[Sent | Reply] = [_reply(row) for row in connection.execute(heard.limit(latest))]
    lines += [_sent(row) for row in connection.execute(sent.limit(latest))]
    # A reply and our answer to it may share a moment: the reply came first.
    lines.sort(key=lambda line: (line.at, isinstance(line, Sent), line.id))
    return lines if latest is None else lines[-latest:]


def flags_of(connection: Connection, child_id: int) -> list[FlagLine]:
    """Every flag a family ever had, the latest first."""
    query = select(t.flag).where(t.flag.c.child_id == child_id).order_by(t.flag.c.raised_at.desc(), t.flag.c.id.desc())
    return [FlagLine(_standing(row), row.raised_at, row.cleared_at) for row in connection.execute(query)]


def standing_flags(connection: Connection, child_ids: Sequence[int]) -> dict[int, tuple[Standing, ...]]:
    """The standing flags of those families, the most urgent first."""
    query = select(t.flag).where(t.flag.c.child_id.in_(child_ids), t.flag.c.cleared_at.is_(None))
    flags: dict[int, list[Standing]] = defaultdict(list)
    for row in connection.execute(query):
        flags[row.child_id].append(_standing(row))
    return {child_id: by_urgency(rows) for child_id, rows in flags.items()}


def feet(connection: Connection, course_id: int) -> Feet:
    """The feet of a course. Raises NoResultFound when there is no such course."""
    row = connection.execute(select(t.course).where(t.course.c.id == course_id)).one()
    return Feet(
        row.number, row.sides, row.foot, row.abduction_before_release, row.abduction_last_cast, row.dorsiflexion
    )


def child_of_reply(connection: Connection, inbound_id: int) -> tuple[bool, int | None]:
    """Whether there is such a reply, and whose it is (None: nobody's number)."""
    row = connection.execute(select(t.inbound.c.child_id).where(t.inbound.c.id == inbound_id)).one_or_none()
    return row is not None, row.child_id if row else None


def _latest(connection: Connection, group: Any, moment: Any, ids: Any) -> dict[int, datetime]:
    query = select(group, func.max(moment)).where(group.in_(ids)).group_by(group)
    return {row[0]: row[1] for row in connection.execute(query)}


def _for_a_person() -> Select[Any]:
    return (
        select(t.inbound)
        .where(
            t.inbound.c.handled_at.is_(None),
            or_(t.inbound.c.next == Next.TO_STAFF, t.inbound.c.meaning.in_(ONLY_A_PERSON)),
        )
        .order_by(t.inbound.c.received_at, t.inbound.c.id)
    )


def _clinic(row: Row[Any]) -> Clinic:
    return Clinic(row.id, row.key, row.name, row.time_zone, row.phone, row.part_price, row.part_currency)


def _person(row: Row[Any]) -> Person:
    return Person(
        row.id,
        row.name,
        row.phone,
        row.language,
        row.time_zone,
        f"{row.contact_time:%H:%M}",
        row.agreed_at,
        row.stopped_at,
        row.stopped_why,
    )


def _called(row: Row[Any]) -> Called:
    return Called(row.child_id, row.called_at, row.outcome, row.note)


def _reply(row: Row[Any]) -> Reply:
    return Reply(
        id=row.id,
        child_id=row.child_id,
        phone=row.phone,
        body=row.body,
        at=row.received_at,
        asked=Asked(row.asked),
        meaning=Meaning(row.meaning),
        about=row.about,
        value=None if row.value_low is None else (row.value_low, row.value_high),
        rule=row.rule,
        next=Next(row.next),
        handled_at=row.handled_at,
    )


def _sent(row: Row[Any]) -> Sent:
    return Sent(
        row.id,
        row.kind,
        Asked(row.asks),
        row.language,
        row.body,
        row.parts,
        row.state,
        row.error,
        row.delivery,
        row.delivery_code,
        row.sent_at or row.due_at,
    )


def _standing(row: Row[Any]) -> Standing:
    return Standing(row.code, Urgency(row.urgency), row.sentence, tuple(row.evidence), row.since)
