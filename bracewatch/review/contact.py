"""What is due to be said to a family, and when the next word is due."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from bracewatch.messages.kinds import Kind
from bracewatch.review.case import Caregiver, Case
from bracewatch.review.flags import low_wear, missed_visit
from bracewatch.schedule.contact_days import is_asking_day
from bracewatch.schedule.local_time import instant, local_day
from bracewatch.schedule.timeline import PAUSE, Phase, Visit

MORNING = time(8)  # texts go out from 08:00 to 21:00 where the caregiver lives
NIGHT = time(21)  # 47 CFR 64.1200(c)(1)
BY_NIGHT_TOO = (Kind.TROUBLE_HEARD, Kind.STOPPED)  # what to do about a sore foot; that we have heard "stop"
A_WEEK = timedelta(days=7)
MOST_A_WEEK = 3  # messages that nobody asked for; and one a day
_RANKS = {Kind.VISIT_REMINDER: 1, Kind.MISSED_VISIT: 2, Kind.CHECK_IN_HOURS: 3, Kind.CHECK_IN_NIGHTS: 3}
UNASKED = (Kind.WELCOME, *_RANKS)
WELCOME_USEFUL = timedelta(days=7)
FOLLOW_UP_USEFUL = timedelta(days=3)


@dataclass(frozen=True, slots=True)
class Message:
    """Something to say to a caregiver.

    `key` names the moment it is said for: the same moment has the same key for ever, so nothing is said
    twice. Not before `due_at`, and not after `useful_until`. `facts` fill the gaps of the text.
    """

    key: str
    kind: Kind
    caregiver_id: int
    due_at: datetime
    useful_until: datetime
    facts: Mapping[str, date] = field(default_factory=dict)


def due(case: Case, now: datetime) -> tuple[list[Message], datetime | None]:
    """The messages whose moment has come and not passed and for which the family has room, without those put down
    already; and the next moment at which there may be one.

    Nothing for a family that has not agreed, or has asked us to stop.
    """
    caregiver = case.caregiver
    if caregiver is None or not caregiver.may_be_written_to:
        return [], None
    put_down = {written.key for written in case.written}
    moments = [message for message in _moments(case, caregiver, now) if message.key not in put_down]
    ready, later = _with_room(case, caregiver, [message for message in moments if message.due_at <= now], now)
    return ready, min([message.due_at for message in moments if message.due_at > now] + later, default=None)


def _with_room(
    case: Case, caregiver: Caregiver, due_by_now: list[Message], now: datetime
) -> tuple[list[Message], list[datetime]]:
    """Those messages that may go out now, and moments at which another may.

    A family gets at most one message a day and three in seven days that nobody asked for; what matters more goes
    first, and what gave way goes out at the contact time of a day with room while it is of use. The word after a
    missed visit waits for a day with room, not for the week: by then it would be of no use.
    """
    taken = [written.at for written in case.written if written.counts]
    ready: list[Message] = []
    later: list[datetime] = []
    for message in sorted(due_by_now, key=lambda message: (_RANKS.get(message.kind, 0), message.due_at)):
        room = message.due_at if _always_goes(message, caregiver) else _room(message, taken, caregiver, now)
        useful_until = _useful_until(message, taken, caregiver)
        if max(room, now) >= useful_until:
            continue
        if room > now:
            later.append(room)
            continue
        ready.append(replace(message, useful_until=useful_until))
        if message.kind is not Kind.WELCOME:
            taken.append(now)
    # What went first only in this reckoning gives its room back when it is of no use any more.
    return ready, later + [message.useful_until for message in ready if later]


def _always_goes(message: Message, caregiver: Caregiver) -> bool:
    """The welcome, since the family has just agreed to messages; and the last reminder of a visit."""
    if message.kind is Kind.VISIT_REMINDER:
        return message.facts["day"] - local_day(message.due_at, caregiver.zone) <= timedelta(days=1)
    return message.kind is Kind.WELCOME


def _room(message: Message, taken: list[datetime], caregiver: Caregiver, now: datetime) -> datetime:
    """When the message may go out, by what is known now: at `now` or before means now."""
    today, due_day = local_day(now, caregiver.zone), local_day(message.due_at, caregiver.zone)
    days = {local_day(at, caregiver.zone) for at in taken}
    if today in days:
        return instant(today + timedelta(days=1), caregiver.contact_time, caregiver.zone)
    of_this_week = sorted(at for at in taken if at > now - A_WEEK)
    if len(of_this_week) >= MOST_A_WEEK and message.kind is not Kind.MISSED_VISIT:
        return of_this_week[-MOST_A_WEEK] + A_WEEK
    if any(due_day <= day < today for day in days):
        return instant(today, caregiver.contact_time, caregiver.zone)
    return message.due_at


def _useful_until(message: Message, taken: list[datetime], caregiver: Caregiver) -> datetime:
    """A check-in that gave way to another message on its day may be asked the evening after."""
    day = local_day(message.due_at, caregiver.zone)
    gave_way = any(local_day(at, caregiver.zone) == day for at in taken)
    if message.kind in (Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS) and gave_way:
        return instant(day + timedelta(days=1), NIGHT, caregiver.zone)
    return message.useful_until


def keys_that_stand(case: Case, now: datetime) -> set[str]:
    """The keys of all that may be said near `now`: what waits under another key is no longer true."""
    caregiver = case.caregiver
    if caregiver is None or not caregiver.may_be_written_to:
        return set()
    return {message.key for message in _moments(case, caregiver, now)}


def _moments(case: Case, caregiver: Caregiver, now: datetime) -> Iterator[Message]:
    """Every moment near `now`: the latest past ones and the next ones of each kind."""
    yield _welcome(caregiver)
    yield from _check_ins(case, caregiver, now)
    for on, visit in _visits_near(case, local_day(now, caregiver.zone)):
        yield from _about_visit(case, caregiver, visit, on)


def _welcome(caregiver: Caregiver) -> Message:
    assert caregiver.agreed_at is not None  # noqa: S101 - `due` asks first
    due_at = waking(caregiver.agreed_at, caregiver.zone)
    return Message(f"welcome:{caregiver.id}", Kind.WELCOME, caregiver.id, due_at, due_at + WELCOME_USEFUL)


def waking(moment: datetime, zone_name: str) -> datetime:
    """`moment`, or the first 08:00 after it when it falls into the caregiver's night."""
    day = local_day(moment, zone_name)
    if moment < (morning := instant(day, MORNING, zone_name)):
        return morning
    if moment >= instant(day, NIGHT, zone_name):
        return instant(day + timedelta(days=1), MORNING, zone_name)
    return moment


def _check_ins(case: Case, caregiver: Caregiver, now: datetime) -> Iterator[Message]:
    """Yesterday's, today's and the next check-in. Days are counted from the start of each phase, and closer
    while reported wear is low."""
    today = local_day(now, caregiver.zone)
    alarm = low_wear.low_run(low_wear.weigh(case, now), case.protocol.thresholds)
    asked_from = _first_day(case, caregiver)
    for day in (today - timedelta(days=1), today, *_days_ahead(case, today)):
        phase = case.timeline.in_force(day)
        if phase is None or phase.key == PAUSE or day < asked_from:
            continue
        close_days = case.protocol.contact.closer_check_in.days
        raised_on = local_day(alarm[0].report.heard_at, caregiver.zone) if alarm else None
        closer = raised_on is not None and day > raised_on and (day - raised_on).days % close_days == 0
        if closer or is_asking_day(case.timeline, case.protocol.contact, phase, day):
            yield _check_in(case, caregiver, phase, day)


def _days_ahead(case: Case, today: date) -> Iterator[date]:
    """The coming days among which the next check-in must lie: one round of the slowest phase and a day, from
    today or, where bracing is still ahead, from its first day."""
    slowest = max(phase.check_in_days for phase in case.timeline.phases)
    begins = max(today, case.timeline.phases[0].start)
    return (begins + timedelta(days=ahead) for ahead in range(1, slowest + 2))


def _first_day(case: Case, caregiver: Caregiver) -> date:
    assert caregiver.agreed_at is not None  # noqa: S101 - `due` asks first
    return max(case.enrolled_on, local_day(caregiver.agreed_at, caregiver.zone) + timedelta(days=1))


def _check_in(case: Case, caregiver: Caregiver, phase: Phase, day: date) -> Message:
    kind = Kind.CHECK_IN_HOURS if phase.asks == "hours" else Kind.CHECK_IN_NIGHTS
    due_at = instant(day, caregiver.contact_time, caregiver.zone)
    return Message(f"check-in:{case.course_id}:{day}", kind, caregiver.id, due_at, instant(day, NIGHT, caregiver.zone))


def _visits_near(case: Case, today: date) -> list[tuple[date, Visit]]:
    """The visits of which something is still to be said or that come next: what was missed lately, those whose
    reminders may have begun, and one more."""
    earliest_reminder = max(span.about_days for span in case.protocol.contact.visit_reminders)
    oldest = today - timedelta(days=case.protocol.thresholds.missed_visit_grace.about_days + FOLLOW_UP_USEFUL.days + 2)
    begun = today + timedelta(days=earliest_reminder + 2)
    days = sorted(
        (visit.on, visit.key, visit)
        for visit in missed_visit.missable(case)
        if visit.on is not None and visit.on >= oldest
    )
    near = [(on, visit) for on, _, visit in days if on <= begun]
    return near + [(on, visit) for on, _, visit in days[len(near) : len(near) + 1]]


def _about_visit(case: Case, caregiver: Caregiver, visit: Visit, on: date) -> Iterator[Message]:
    """Its reminders, and the word after it was missed. A moved visit has another day and so other keys."""
    name = f"{case.course_id}:{visit.key}:{on}"
    days = sorted({span.before(on) for span in case.protocol.contact.visit_reminders})
    until = [*(instant(day, caregiver.contact_time, caregiver.zone) for day in days[1:]), _arrives(case, on)]
    for day, useful_until in zip(days, until, strict=True):
        yield Message(
            f"visit-reminder:{name}:{day}",
            Kind.VISIT_REMINDER,
            caregiver.id,
            instant(day, caregiver.contact_time, caregiver.zone),
            useful_until,
            {"day": on},
        )
    after = case.protocol.thresholds.missed_visit_grace.after(on)
    due_at = instant(after, caregiver.contact_time, caregiver.zone)
    yield Message(f"missed-visit:{name}", Kind.MISSED_VISIT, caregiver.id, due_at, due_at + FOLLOW_UP_USEFUL)


def _arrives(case: Case, on: date) -> datetime:
    """When a reminder of a visit stops being useful: the morning of the visit at the clinic."""
    return instant(on, MORNING, case.clinic_zone)
