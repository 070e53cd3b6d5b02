"""Plays the practice programme forward, all through the services that real families go through.

What has happened is in the database and what the families do is in the script, so the player remembers
nothing: it can be killed at any moment, and the next one goes on where it was.
"""

from __future__ import annotations

import heapq
import itertools
import secrets
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from functools import partial

from sqlalchemy import bindparam, func, select

from bracewatch.demo.families import Clinic, Family, Programme
from bracewatch.demo.script import Reply, Script
from bracewatch.messages.kinds import Asked, Kind
from bracewatch.messages.practice import PracticePhone
from bracewatch.review import Case
from bracewatch.schedule.clinic_days import parse_weekdays
from bracewatch.schedule.local_time import instant, local_day
from bracewatch.schedule.timeline import Visit
from bracewatch.services import boots, calls, enrolment, inbox, texts, visits
from bracewatch.services.calls import CallOutcome
from bracewatch.services.reviewing import review_due
from bracewatch.services.sending import Sent, send_due
from bracewatch.services.timing import Timing
from bracewatch.store import Store, cases
from bracewatch.store import practice as p
from bracewatch.store import tables as t

# The play moves in steps, as a slow worker would: what happens and what is due is done at the next full step. The
# steps do not depend on where a play begins, so one that was cut off goes on exactly as it would have. Of the last
# days, which people look at, every quarter of an hour is played.
STEP, FINE_STEP = timedelta(hours=1), timedelta(minutes=15)
FINE_FROM_DAY = -3
JOINS_AT, COMES_AT, STAFF_CALL_AT = time(10), time(11), time(9, 30)
CALLED_AFTER = timedelta(days=4)  # the staff of the practice clinics get round to a flag after so long
CALLED_AGAIN_AFTER = timedelta(days=9)
LONGEST_DELAY = timedelta(days=8)  # no scripted reply comes later than this
FOOT_GROWS_MM_A_DAY = 0.06  # invented, as the families are
REACHABLE = 0.3  # a family that answers at least this share of messages picks up the telephone

APPROVED_BY = "Sister Marigold (invented)"
OWNER = "practice"  # the one sender of a practice clinic
ON_A_SCREEN = Timing(gap=None)  # the practice phone has no list that outlives it, and nobody gets a text twice
Action = Callable[[], None]

_NEXT = select(
    select(func.min(t.child.c.wake_at)).scalar_subquery(),
    select(func.min(t.outbox.c.due_at)).where(t.outbox.c.state == "queued").scalar_subquery(),
)
_QUESTIONS = select(t.outbox.c.child_id, t.outbox.c.key, t.outbox.c.kind, t.outbox.c.asks, t.outbox.c.sent_at).where(
    t.outbox.c.sent_at > bindparam("since", type_=t.UtcDateTime()), t.outbox.c.asks != Asked.NOTHING
)


def begin(store: Store, programme: Programme, now: datetime) -> None:
    """Open the practice clinics, unless this file has its play already. Day 0 is the day of `now` in UTC.

    Each clinic has approved the texts in the languages of its families, in a file from before that was asked too.
    """
    with store.read() as connection:
        begun = p.state(connection) is not None
        clinic_ids = {row.key: row.id for row in connection.execute(select(t.clinic.c.key, t.clinic.c.id))}
    script = Script(programme, now.astimezone(UTC).date())
    opened = datetime.combine(script.on(programme.opened), time(0), UTC)
    for clinic in programme.clinics:
        if clinic.key not in clinic_ids:
            clinic_ids[clinic.key] = enrolment.add_clinic(store, _new_clinic(clinic, script))
        languages = {family.caregiver.language for family in programme.families if family.clinic == clinic.key}
        texts.approve_shipped(store, clinic_ids[clinic.key], sorted(languages), APPROVED_BY, now if begun else opened)
    if begun:
        return
    with store.begin() as connection:
        p.begin(connection, script.day_0, opened, secrets.token_urlsafe(32))


def play_to(store: Store, programme: Programme, now: datetime) -> None:
    """Let everything happen up to `now`: enrolments, replies, visits, calls, and the worker's ticks between."""
    play = _Play(store, programme)
    while play.clock < now:
        play.advance(play.next_moment(now))


def tick(store: Store, channel: PracticePhone, now: datetime) -> Sent:
    """What the worker does: review whoever is due, send what is due, review those who were asked something."""
    review_due(store, now)
    done = send_due(store, channel, lambda: now, owner=OWNER, timing=ON_A_SCREEN)
    if done.sent:
        review_due(store, now)
    return done


class _Play:
    """One stretch of play: what lies ahead, in order, from where the file stands."""

    def __init__(self, store: Store, programme: Programme) -> None:
        with store.read() as connection:
            state = p.state(connection)
            self.parts = p.parts(connection)
            self.clinic_ids = {row.key: row.id for row in connection.execute(select(t.clinic.c.key, t.clinic.c.id))}
        if state is None:
            raise ValueError("this play has not begun: call begin first")
        self.store = store
        self.programme = programme
        self.clock: datetime = state.played_to
        self.script = Script(programme, state.started_on)
        self.families = {family.key: family for family in programme.families}
        self.child_ids = {part.family_key: child_id for child_id, part in self.parts.items()}
        self.ahead: list[tuple[datetime, int, Action]] = []
        self.order = itertools.count()
        self.fine_from = datetime.combine(self.script.on(FINE_FROM_DAY), time(0), UTC)
        self.phones_of = (self.clock.date(), PracticePhone(self.script.dead_numbers(self.clock)))
        for family in programme.families:
            self._plan_family(family)
        for clinic in programme.clinics:
            self._plan_calls(clinic, self.clock)
        for family_key, child_id in self.child_ids.items():
            self._plan_visits(self.families[family_key], child_id)
        self._plan_replies(since=self.clock - LONGEST_DELAY)

    def next_moment(self, limit: datetime) -> datetime:
        """The next full step at which something happens or is due, `limit` at the latest."""
        with self.store.read() as connection:
            wake, due = connection.execute(_NEXT).one()
        step = FINE_STEP if self.clock >= self.fine_from else STEP
        moments = [moment for moment in (wake, due) if moment is not None]
        moments += [self.ahead[0][0]] if self.ahead else []
        first = max(min(moments, default=limit), self.clock + timedelta(microseconds=1))
        return min(_next_full(first, step), limit)

    def advance(self, moment: datetime) -> None:
        """Everything up to `moment` happens; then comes the worker's tick."""
        while self.ahead and self.ahead[0][0] <= moment:
            heapq.heappop(self.ahead)[2]()
        if tick(self.store, self._phones(moment), moment).sent:
            self._plan_replies(since=self.clock)
        self.clock = moment
        with self.store.begin() as connection:
            p.set_played_to(connection, moment)

    def _phones(self, moment: datetime) -> PracticePhone:
        """The practice network of that day."""
        if moment.date() != self.phones_of[0]:
            self.phones_of = (moment.date(), PracticePhone(self.script.dead_numbers(moment)))
        return self.phones_of[1]

    def _plan(self, at: datetime, action: Action) -> None:
        if at > self.clock:
            heapq.heappush(self.ahead, (at, next(self.order), action))

    def _plan_family(self, family: Family) -> None:
        zone_name = self.programme.clinic_of(family).time_zone
        if family.key not in self.child_ids:
            at = max(
                instant(self.script.on(family.joined), JOINS_AT, zone_name), self.clock + timedelta(microseconds=1)
            )
            self._plan(at, partial(self._join, family, at))
        for reply in self.script.sayings(family):
            self._plan(reply.at, partial(self._hear, family, reply))
        if family.relapse is not None:
            at = instant(self.script.on(family.relapse.day), COMES_AT, zone_name)
            self._plan(at, partial(self._relapse, family, at))

    def _plan_visits(self, family: Family, child_id: int) -> None:
        case = self._case(child_id)
        for visit in case.timeline.visits:
            day = self.script.comes_on(family, visit)
            if visit.kept is None and day is not None:
                at = instant(day, COMES_AT, case.clinic_zone)
                self._plan(at, partial(self._come, child_id, case.course_id, visit, at))

    def _plan_calls(self, clinic: Clinic, after: datetime) -> None:
        """The staff's next hour at the telephone: the first clinic day whose morning is still ahead."""
        weekdays = parse_weekdays(clinic.clinic_days)
        day = local_day(after, clinic.time_zone)
        while day.weekday() not in weekdays or instant(day, STAFF_CALL_AT, clinic.time_zone) <= after:
            day += timedelta(days=1)
        at = instant(day, STAFF_CALL_AT, clinic.time_zone)
        self._plan(at, partial(self._call_families, clinic, at))

    def _plan_replies(self, since: datetime) -> None:
        """The answers to what went out after `since`."""
        with self.store.read() as connection:
            questions = connection.execute(_QUESTIONS, {"since": since}).fetchall()
        for row in questions:
            part = self.parts[row.child_id]
            if part.by_hand:
                continue
            family = self.families[part.family_key]
            asked = Asked(row.asks)
            comes = asked is Asked.COMING and self._means_to_come(family, row.child_id, row.sent_at)
            reply = self.script.reply_to(family, row.key, Kind(row.kind), asked, row.sent_at, comes)
            if reply is not None:
                self._plan(reply.at, partial(self._hear, family, reply))

    def _means_to_come(self, family: Family, child_id: int, now: datetime) -> bool:
        case = self._case(child_id)
        today = case.clinic_day(now)
        coming = [visit for visit in case.timeline.visits if visit.on is not None and visit.on >= today]
        return bool(coming) and self.script.comes_on(family, coming[0]) == coming[0].on

    def _case(self, child_id: int) -> Case:
        with self.store.read() as connection:
            return cases.load(connection, [child_id], self.clock)[0]

    def _join(self, family: Family, at: datetime) -> None:
        clinic = self.programme.clinic_of(family)
        child_id = self._enrolled_before(family)
        if child_id is None:
            new = _new_family(family, self.script, self.clinic_ids[clinic.key], at)
            child_id = enrolment.enrol(self.store, new, at)
        for visit in self._case(child_id).timeline.visits:
            if visit.on is not None and visit.on < local_day(at, clinic.time_zone):
                decided = visit.decides is not None
                visits.record_kept(self.store, child_id, visit.key, visit.on, at, opens_gate=decided)
        self._measure(child_id, family, local_day(at, clinic.time_zone), at)
        with self.store.begin() as connection:
            p.join(connection, family.key, child_id)
        self.parts[child_id] = p.Part(family.key, by_hand=False)
        self.child_ids[family.key] = child_id
        self._plan_visits(family, child_id)

    def _enrolled_before(self, family: Family) -> int | None:
        """The child of a family whose enrolment was the last thing before the play was cut off."""
        with self.store.read() as connection:
            query = select(t.caregiver.c.child_id).where(t.caregiver.c.phone == family.caregiver.phone)
            return connection.execute(query).scalar_one_or_none()

    def _come(self, child_id: int, course_id: int, visit: Visit, at: datetime) -> None:
        case = self._case(child_id)
        if case.course_id != course_id:
            return  # the course ended before this visit
        visits.record_kept(
            self.store, child_id, visit.key, case.clinic_day(at), at, opens_gate=visit.decides is not None
        )

        self._measure(child_id, self.families[self.parts[child_id].family_key], case.clinic_day(at), at)

    def _measure(self, child_id: int, family: Family, day: date, at: datetime) -> None:
        """Both feet are measured at every visit, once a day however often the play was cut off."""
        grown = (day - self.script.on(family.joined)).days * FOOT_GROWS_MM_A_DAY
        with self.store.read() as connection:
            query = select(t.foot_fitting.c.side).where(
                t.foot_fitting.c.child_id == child_id, t.foot_fitting.c.measured_on == day
            )
            measured = set(connection.execute(query).scalars())
        for side in boots.SIDES:
            if side not in measured:
                boots.record_fitting(self.store, child_id, side, day, at, length_mm=round(family.foot_mm + grown))

    def _relapse(self, family: Family, at: datetime) -> None:
        assert family.relapse is not None  # noqa: S101 - planned only for those who have one
        child_id = self.child_ids[family.key]
        if self._case(child_id).timeline.ends_on <= self.script.on(family.relapse.day):
            return  # met again after a cut: it has happened
        brace_start = self.script.on(family.relapse.brace_start)
        enrolment.start_again(self.store, child_id, self.script.on(family.relapse.day), brace_start, at)
        self._plan_visits(family, child_id)

    def _hear(self, family: Family, reply: Reply) -> None:
        if not self.parts[self.child_ids[family.key]].by_hand:
            inbox.receive(
                self.store, sid=reply.sid, phone=family.caregiver.phone, body=reply.text, received_at=reply.at
            )

    def _call_families(self, clinic: Clinic, at: datetime) -> None:
        """The staff call whoever has waited, and reach those who pick up."""
        recent = select(t.call.c.child_id).where(t.call.c.called_at > at - CALLED_AGAIN_AFTER)
        with self.store.read() as connection:
            waiting = connection.execute(
                select(t.flag.c.child_id)
                .distinct()
                .join(t.child)
                .where(
                    t.child.c.clinic_id == self.clinic_ids[clinic.key],
                    t.flag.c.cleared_at.is_(None),
                    t.flag.c.raised_at < at - CALLED_AFTER,
                    t.flag.c.child_id.not_in(recent),
                )
                .order_by(t.flag.c.child_id)
            ).scalars()
            families = [(child_id, self.families[self.parts[child_id].family_key]) for child_id in waiting]
        for child_id, family in families:
            behaviour = self.programme.behaviour_of(family, (local_day(at, clinic.time_zone) - self.script.day_0).days)
            reached = behaviour.answers >= REACHABLE and not behaviour.phone_dead
            calls.record(self.store, child_id, CallOutcome.SPOKE if reached else CallOutcome.NO_ANSWER, at)
        self._plan_calls(clinic, at)


def _next_full(moment: datetime, step: timedelta) -> datetime:
    """`moment`, or the next full step after it: steps are counted from midnight in UTC."""
    seconds = step.total_seconds()
    return datetime.fromtimestamp(-(-moment.timestamp() // seconds) * seconds, UTC)


def _new_clinic(clinic: Clinic, script: Script) -> enrolment.NewClinic:
    return enrolment.NewClinic(
        key=clinic.key,
        name=clinic.name,
        country=clinic.country,
        time_zone=clinic.time_zone,
        clinic_days=clinic.clinic_days,
        phone=clinic.phone,
        closed={script.on(day): reason for day, reason in clinic.closed_days.items()},
    )


def _new_family(family: Family, script: Script, clinic_id: int, at: datetime) -> enrolment.NewFamily:
    return enrolment.NewFamily(
        clinic_id=clinic_id,
        child_name=family.child.name,
        born=script.on(family.child.born),
        brace_start=script.on(family.brace_start),
        caregiver_name=family.caregiver.name,
        phone=family.caregiver.phone,
        language=family.caregiver.language,
        contact_time=family.caregiver.contact_time,
        protocol_id=family.protocol,
        sides=family.sides,
        foot=family.foot,
        agreed_at=at,
        agreed_text="practice",
        agreed_by="practice",
        abduction_before_release=family.abduction_before_release,
        abduction_last_cast=family.abduction_last_cast,
        dorsiflexion=family.dorsiflexion,
    )
