"""Taking a reply in: kept as it came, read in the light of the last question, answered, and its facts kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, bindparam, exists, func, insert, select, update

from bracewatch.messages.kinds import Asked, Kind, Meaning, Next
from bracewatch.messages.replies import Reading, understand
from bracewatch.review.contact import BY_NIGHT_TOO, waking
from bracewatch.schedule.local_time import local_day
from bracewatch.schedule.timeline import Phase
from bracewatch.services.outgoing import addressees, queue
from bracewatch.services.people import StopReason, number_works, stop_messages
from bracewatch.services.waking import wake
from bracewatch.store import Store, cases
from bracewatch.store import tables as t
from bracewatch.store.upsert import insert_if_new
from bracewatch.wear.reports import WearKind

QUESTION_STAYS_OPEN = timedelta(days=7)
ANSWER_USEFUL = timedelta(hours=12)
MOST_ANSWERS_A_DAY = 10  # a phone that answers by machine must not talk with us for ever
COURTESY = "courtesy.only"  # the reader's rule for "ok, thank you": nothing to do
MOURNING = "grief.said"  # a word of mourning is not met with a text by machine, now or later
UNANSWERED = (COURTESY, MOURNING)
ANSWER = "answer:"  # how the keys of our answers begin; the reply's sid follows
NO_TEXT = "text.none"  # a picture or a voice message, which may show a sore: a person asks about it

_ANSWERS = {
    Meaning.TROUBLE: Kind.TROUBLE_HEARD,
    Meaning.CALL_ME: Kind.CALL_HEARD,
    Meaning.HELP: Kind.HELP,
    Meaning.STOP: Kind.STOPPED,
    Meaning.START: Kind.STARTED,
    Meaning.NOT_COMING: Kind.NOT_COMING_HEARD,
}
_ASK_AGAIN = {
    Asked.HOURS: Kind.ASK_AGAIN_HOURS,
    Asked.NIGHTS: Kind.ASK_AGAIN_NIGHTS,
    Asked.COMING: Kind.ASK_AGAIN,
}


@dataclass(frozen=True, slots=True)
class Received:
    """What became of a reply. `child_id` is None when no family has that number; then it waits for staff."""

    inbound_id: int
    child_id: int | None
    reading: Reading


@dataclass(frozen=True, slots=True)
class _Question:
    asked: Asked
    kind: Kind | None


@dataclass(frozen=True, slots=True)
class _Said:
    """A reply that is to be answered."""

    sid: str
    at: datetime
    asked: Asked
    reading: Reading


def receive(store: Store, *, sid: str, phone: str, body: str, received_at: datetime) -> Received | None:
    """Take one reply in; None when the network delivered it before and nothing was done.

    `sid` is the network's name for the reply, `phone` the sender's number in E.164, `body` its text, empty when
    there was none. Everything is written in one transaction: the reply itself, the wear it reports, a wish to
    stop, our answer. A number from which somebody writes works.
    """
    with store.begin() as connection:
        sender = _sender(connection, phone)
        question, reading = _read(connection, sender, body, received_at)
        inbound_id = insert_if_new(
            connection,
            t.inbound,
            "sid",
            sid=sid,
            phone=phone,
            caregiver_id=sender.id if sender else None,
            child_id=sender.child_id if sender else None,
            body=body,
            received_at=received_at,
            asked=question.asked,
            meaning=reading.meaning,
            about=reading.about,
            value_low=reading.value[0] if reading.value else None,
            value_high=reading.value[1] if reading.value else None,
            confidence=reading.confidence,
            rule=reading.rule,
            next=reading.next,
            handled_at=received_at if reading.rule == COURTESY else None,
        )
        if inbound_id is None:
            return None
        if sender is not None:
            _keep_wear(connection, sender, inbound_id, question.asked, reading, received_at)
            number_works(connection, phone, received_at)
            _change_wishes(connection, sender, body, reading, received_at)
            silent = sender.stopped_at is not None or sender.agreed_at is None
            if not silent or _begins_again(sender, reading, received_at):
                _answer(connection, sender, _Said(sid, received_at, question.asked, reading), received_at)
            wake(connection, sender.child_id, received_at)
    return Received(inbound_id, sender.child_id if sender else None, reading)


def answer_late(connection: Connection, clinic_id: int, language: str, now: datetime) -> None:
    """Answer what was not answered because the answer's text was a draft, while it still helps.

    A caregiver who stopped since then gets the confirmation of that and nothing else; one who has not agreed to
    messages gets nothing.
    """
    unanswered = connection.execute(
        select(t.inbound)
        .join(t.caregiver, t.caregiver.c.id == t.inbound.c.caregiver_id)
        .join(t.child, t.child.c.id == t.caregiver.c.child_id)
        .where(
            t.child.c.clinic_id == clinic_id,
            t.caregiver.c.language == language,
            t.inbound.c.received_at > now - ANSWER_USEFUL - timedelta(days=1),  # some wait for the morning first
            t.inbound.c.handled_at.is_(None),
            ~exists().where(t.outbox.c.key == ANSWER + t.inbound.c.sid),
        )
        .order_by(t.inbound.c.received_at, t.inbound.c.id)
    ).fetchall()
    ids = {row.caregiver_id for row in unanswered}
    senders = {row.id: row for row in connection.execute(select(t.caregiver).where(t.caregiver.c.id.in_(ids)))}
    for row in unanswered:
        sender = senders[row.caregiver_id]
        says_stop = row.meaning == Meaning.STOP and row.received_at == sender.stopped_at
        if sender.agreed_at is not None and (sender.stopped_at is None or says_stop):
            _answer(connection, sender, _Said(row.sid, row.received_at, Asked(row.asked), _reading_of(row)), now)


def _reading_of(row: Row[Any]) -> Reading:
    value = None if row.value_low is None else (row.value_low, row.value_high)
    return Reading(
        meaning=Meaning(row.meaning),
        value=value,
        confidence=row.confidence,
        rule=row.rule,
        next=Next(row.next),
        about=row.about,
    )


def handle(store: Store, inbound_id: int, now: datetime) -> None:
    """A person has read the reply and done what it asked for."""
    with store.begin() as connection:
        child_id = connection.execute(
            update(t.inbound)
            .where(t.inbound.c.id == inbound_id, t.inbound.c.handled_at.is_(None))
            .values(handled_at=now)
            .returning(t.inbound.c.child_id)
        ).scalar_one_or_none()
        if child_id is not None:
            wake(connection, child_id, now)


def _sender(connection: Connection, phone: str) -> Row[Any] | None:
    """The caregiver with that number; of several, the one written to last."""
    return connection.execute(_SENDERS, {"number": phone}).one_or_none()


def _read(connection: Connection, sender: Row[Any] | None, body: str, now: datetime) -> tuple[_Question, Reading]:
    """The reply in the light of the question that it fits, the last one first, and that question."""
    if sender is None:
        nothing = _Question(Asked.NOTHING, None)
        return nothing, replace(understand(body, language="en", asked=nothing.asked), next=Next.TO_STAFF)
    yesterday = local_day(now, sender.time_zone) - timedelta(days=1)
    phase = _phase_on(connection, sender.child_id, yesterday, now)
    questions = _open_questions(connection, sender.id, now) or [_Question(_asked_in(phase), None)]
    if not body.strip():
        return questions[0], Reading(Meaning.UNREAD, None, 0.0, NO_TEXT, Next.TO_STAFF)
    readings = [(question, understand(body, language=sender.language, asked=question.asked)) for question in questions]
    question, reading = next((pair for pair in readings if pair[1].next is Next.KEEP), readings[0])
    reading = _in_context(connection, sender, question, reading, now)
    if reading.meaning in (Meaning.HOURS, Meaning.NIGHTS) and reading.meaning.value != _asked_in(phase).value:
        # "7 nights" where hours are prescribed says nothing about hours, and the other way round.
        reading = replace(reading, next=Next.TO_STAFF, rule=f"{reading.rule}+other-phase")
    return question, reading


def _phase_on(connection: Connection, child_id: int, day: date, now: datetime) -> Phase | None:
    for case in cases.load(connection, [child_id], now):
        return case.timeline.in_force(day)
    return None


def _asked_in(phase: Phase | None) -> Asked:
    """What is asked in a phase: a figure that comes unasked answers that, for nothing else is ever counted."""
    return Asked(phase.asks) if phase is not None else Asked.NOTHING


def _open_questions(connection: Connection, caregiver_id: int, now: datetime) -> list[_Question]:
    """The questions put to the caregiver that are recent enough to be answered, one of each sort, the last first.

    Asking the same once more ("answer:…" in the outbox) leaves the question what it was.
    """
    rows = connection.execute(_QUESTIONS, {"caregiver": caregiver_id, "after": now - QUESTION_STAYS_OPEN, "now": now})
    questions: dict[Asked, _Question] = {}
    for row in rows:
        questions.setdefault(Asked(row.asks), _Question(Asked(row.asks), Kind(row.kind)))
    return list(questions.values())


def _in_context(
    connection: Connection, sender: Row[Any], question: _Question, reading: Reading, now: datetime
) -> Reading:
    """The reading once it is known what was asked before."""
    if question.kind is Kind.MISSED_VISIT and reading.meaning is Meaning.COMING:
        # That text offers a call to find a new day: "yes" takes the offer up.
        return replace(reading, meaning=Meaning.CALL_ME, rule=f"{reading.rule}+missed-visit")
    if reading.next is Next.ASK_AGAIN and _asked_again_before(connection, sender.id, now):
        return replace(reading, next=Next.TO_STAFF)
    return reading


def _asked_again_before(connection: Connection, caregiver_id: int, now: datetime) -> bool:
    last = connection.execute(
        select(t.inbound.c.next)
        .where(t.inbound.c.caregiver_id == caregiver_id, t.inbound.c.received_at > now - QUESTION_STAYS_OPEN)
        .order_by(t.inbound.c.received_at.desc(), t.inbound.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    return last == Next.ASK_AGAIN


def _keep_wear(
    connection: Connection, sender: Row[Any], inbound_id: int, asked: Asked, reading: Reading, now: datetime
) -> None:
    """Write reported wear down for the day before the reply: both questions ask about the time up to then."""
    if reading.value is None or (kind := _kind_of_wear(asked, reading)) is None:
        return
    day = local_day(now, sender.time_zone) - timedelta(days=1)
    course_id = _course_on(connection, sender.child_id, day)
    if course_id is None:
        return
    low, high = reading.value
    connection.execute(
        insert(t.wear_report).values(
            course_id=course_id, inbound_id=inbound_id, kind=kind, day=day, low=low, high=high, heard_at=now
        )
    )


def _kind_of_wear(asked: Asked, reading: Reading) -> WearKind | None:
    """What the figure in a reply counts; None when it counts no wear, or a person has to confirm it first."""
    if reading.meaning is Meaning.TROUBLE and asked in (Asked.HOURS, Asked.NIGHTS):
        return WearKind(asked.value)  # "20 but her heel is red" says both
    if reading.meaning in (Meaning.HOURS, Meaning.NIGHTS) and reading.next is Next.KEEP:
        return WearKind(reading.meaning.value)
    return None


def _course_on(connection: Connection, child_id: int, day: date) -> int | None:
    """The latest course that had begun by `day`."""
    return connection.execute(
        select(t.course.c.id)
        .where(t.course.c.child_id == child_id, t.course.c.brace_start <= day)
        .order_by(t.course.c.number.desc())
        .limit(1)
    ).scalar_one_or_none()


def _change_wishes(connection: Connection, sender: Row[Any], body: str, reading: Reading, now: datetime) -> None:
    """What the reply says about messages holds for everybody written to on that phone: who has two children in
    bracing means both."""
    here = connection.execute(select(t.caregiver).where(t.caregiver.c.phone == sender.phone)).fetchall()
    why = _why_to_stop(reading)
    for person in here:
        if why is not None:
            stop_messages(connection, person.id, now, why)
        elif _begins_again(person, reading, now):
            _begin(connection, person, body, now)
        else:
            continue
        wake(connection, person.child_id, now)


def _why_to_stop(reading: Reading) -> StopReason | None:
    if reading.rule == MOURNING:
        return StopReason.MOURNING
    return {Meaning.WRONG_PERSON: StopReason.WRONG_PERSON, Meaning.STOP: StopReason.ASKED}.get(reading.meaning)


def _begin(connection: Connection, person: Row[Any], body: str, now: datetime) -> None:
    values: dict[str, object] = {"stopped_at": None, "stopped_why": None}
    if person.agreed_at is None:  # their own word is their consent
        values |= {"agreed_at": now, "agreed_by": person.name}
        values |= {"agreed_text": body, "agreed_language": person.language}
    connection.execute(update(t.caregiver).where(t.caregiver.c.id == person.id).values(values))


def _begins_again(sender: Row[Any], reading: Reading, now: datetime) -> bool:
    """Whether the caregiver's own word begins messages: a START that comes in late lifts no stop that is younger."""
    return reading.meaning is Meaning.START and (sender.stopped_at is None or sender.stopped_at <= now)


def _answer(connection: Connection, sender: Row[Any], said: _Said, now: datetime) -> None:
    """Answer in the caregiver's language, while it helps."""
    if said.reading.rule in UNANSWERED or said.reading.meaning is Meaning.WRONG_PERSON:
        return
    kind, facts = _answer_kind(connection, sender, said, now)
    due_at = said.at if kind in BY_NIGHT_TOO else waking(said.at, sender.time_zone)
    useful_until = due_at + ANSWER_USEFUL
    if now >= useful_until or _answers_today(connection, sender.id, kind, now) >= MOST_ANSWERS_A_DAY:
        return
    queue(
        connection,
        addressees(connection, [sender.id])[sender.id],
        key=f"{ANSWER}{said.sid}",
        kind=kind,
        due_at=due_at,
        useful_until=useful_until,
        facts=facts,
        now=now,
    )


def _answer_kind(connection: Connection, sender: Row[Any], said: _Said, now: datetime) -> tuple[Kind, dict[str, date]]:
    asked, reading = said.asked, said.reading
    if reading.meaning in _ANSWERS:
        return _ANSWERS[reading.meaning], {}
    if reading.next is Next.ASK_AGAIN:
        return _ASK_AGAIN.get(asked, Kind.CALL_HEARD), {}
    if reading.next is Next.TO_STAFF or reading.meaning is Meaning.MOVED:
        return Kind.CALL_HEARD, {}
    if reading.meaning is Meaning.COMING and (day := _next_visit(connection, sender.child_id, now)):
        return Kind.COMING_HEARD, {"day": day}
    return Kind.THANKS, {}


def _answers_today(connection: Connection, caregiver_id: int, kind: Kind, now: datetime) -> int:
    """How often we have answered of late: what to do about a sore foot is counted by itself, so that nothing
    else uses its turns up."""
    alike = [kind] if kind in BY_NIGHT_TOO else [other for other in Kind if other not in BY_NIGHT_TOO]
    given = {"caregiver": caregiver_id, "after": now - timedelta(days=1), "kinds": alike}
    return connection.execute(_ANSWERS_SENT, given).scalar_one()


def _next_visit(connection: Connection, child_id: int, now: datetime) -> date | None:
    for case in cases.load(connection, [child_id], now):
        today = case.clinic_day(now)
        days = [visit.on for visit in case.timeline.visits if visit.on and visit.on >= today and visit.kept is None]
        return min(days, default=None)
    return None


# Built once: making a statement costs more than running it.
_o = t.outbox.c
_LAST_SENT = select(func.max(_o.sent_at)).where(_o.caregiver_id == t.caregiver.c.id).scalar_subquery()
_SENDERS = (
    select(t.caregiver)
    .where(t.caregiver.c.phone == bindparam("number"))
    .order_by(_LAST_SENT.desc().nulls_last(), t.caregiver.c.id)
    .limit(1)
)
_AFTER = bindparam("after", type_=t.UtcDateTime())
_QUESTIONS = (
    select(_o.asks, _o.kind)
    .where(
        _o.caregiver_id == bindparam("caregiver"),
        _o.asks != Asked.NOTHING,
        _o.key.not_like(f"{ANSWER}%"),
        _o.sent_at > _AFTER,
        _o.sent_at <= bindparam("now", type_=t.UtcDateTime()),
    )
    .order_by(_o.sent_at.desc(), _o.id.desc())
)
_ANSWERS_SENT = select(func.count()).where(
    _o.caregiver_id == bindparam("caregiver"),
    _o.key.like(f"{ANSWER}%"),
    _o.created_at > _AFTER,
    _o.kind.in_(bindparam("kinds", expanding=True)),
)
