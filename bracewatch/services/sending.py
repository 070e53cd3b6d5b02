"""The sender: takes what is due out of the outbox and hands it to the phone network.

A row is claimed, for the length of a lease, by one conditional statement; the claim is committed before
anything is handed over. A claim whose lease has lapsed may have been sent: it becomes *in doubt* and is
never simply sent again (`reconciling` finds out). Any number of senders may run at once.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, bindparam, func, or_, select, update

from bracewatch.messages.adapter import TOO_LATE, Accepted, Channel, NotSent, Outcome, Outgoing
from bracewatch.messages.kinds import Asked
from bracewatch.review.contact import BY_NIGHT_TOO, waking
from bracewatch.services import network, pace, stopping
from bracewatch.services.people import StopReason, number_fails, stop_messages
from bracewatch.services.reconciling import Sought, keep_sent, listing_of, match, reports_of, taken_sids
from bracewatch.services.timing import Timing
from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t
from bracewatch.store.upsert import insert_if_new

BATCH = 100
MARKED_TOGETHER, MARKED_WITHIN = 20, timedelta(seconds=2)
EVER = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class Sent:
    """What one run of the sender did, in messages. `found` had gone out before, unknown to us.

    `stopped_by` is the account fault that ended it early.
    """

    sent: int = 0
    found: int = 0
    failed: int = 0
    later: int = 0
    in_doubt: int = 0
    expired: int = 0
    stopped_by: str | None = None


def send_due(
    store: Store,
    channel: Channel,
    clock: Callable[[], datetime],
    owner: str,
    *,
    timing: Timing | None = None,
    sleep: Callable[[float], None] = time.sleep,
    ending: Callable[[], bool] = lambda: False,
) -> Sent:
    """Send what is due. `owner` names this sender; two senders never share a name.

    `clock` tells the time at each step, an aware datetime. `sleep` waits for a slot of the sender's pace, in
    seconds. `ending` is asked before each message: once it says yes, nothing more is handed over. Running it
    twice sends nothing twice. It may end with messages still due: the next run goes on.
    """
    run = _Run(store, channel, clock, owner, timing or Timing(), sleep, ending)
    run.go()
    return run.done


class _Run:
    """One run of one sender."""

    def __init__(
        self,
        store: Store,
        channel: Channel,
        clock: Callable[[], datetime],
        owner: str,
        timing: Timing,
        sleep: Callable[[float], None],
        ending: Callable[[], bool],
    ) -> None:
        self.store, self.channel, self.clock, self.owner = store, channel, clock, owner
        self.timing, self.sleep, self.ending = timing, sleep, ending
        self.done = Sent()
        self.list_unreadable = False
        self.halted: set[int | None] = set()  # clinics for which a stop stood at `looked_at`; None: all
        self.looked_at = EVER

    def go(self) -> None:
        began = self.clock()
        if not _anything_waits(self.store, began):
            if self.timing.gap is not None:
                with self.store.begin() as connection:
                    network.seen(connection, self.channel.name, began, self.timing.gap)
            return
        more = True
        while more and not self._is_over(began):
            with self.store.begin() as connection:
                now = self.clock()
                look_first_before = network.seen(connection, self.channel.name, now, self.timing.gap)
                self.done.expired += connection.execute(_EXPIRE, {"now": now}).rowcount
                self.done.in_doubt += connection.execute(_DOUBT, {"now": now}).rowcount
                self._read_stops(connection, now)
                due_from = look_first_before if self.list_unreadable and look_first_before else EVER
                claimed, more = self._claim(connection, now, due_from)
            new = self._without_those_sent_before(claimed, look_first_before)
            self._send_batch(self._leave_for_the_morning(new))

    def _is_over(self, began: datetime) -> bool:
        return self.done.stopped_by is not None or self.ending() or self.clock() - began > self.timing.run

    # Claiming.

    def _claim(self, connection: Connection, now: datetime, due_from: datetime) -> tuple[list[_Claimed], bool]:
        """Claim what is due and has a slot; and whether more may be due."""
        if None in self.halted:
            return [], False
        slots = pace.Slots(connection, now, self.timing)
        given = {"now": now, "due_from": due_from, "halted": sorted(filter(None, self.halted)), "full": slots.full()}
        due: list[Any] = list(connection.execute(_DUE, given))
        about = {row.id: row for row in due}
        at = {row.id: slot for row in due if (slot := slots.take(row.sender, row.parts)) is not None}
        slots.keep()
        values = {"ids": list(at), "claimer": self.owner, "lease": now + self.timing.lease}
        won = connection.execute(_CLAIM, {**values, "now": now, "over": self.channel.name})
        claimed = [_Claimed(row, about[row.id], at[row.id]) for row in won]
        claimed.sort(key=lambda one: (one.slot, one.row.priority, one.row.due_at, one.row.id))
        return claimed, len(due) == BATCH or slots.was_full

    def _without_those_sent_before(self, claimed: list[_Claimed], look_first_before: datetime | None) -> list[_Claimed]:
        """Those of the claims that surely have not gone out. What was due before a gap is looked for in the list;
        while that cannot be read it waits."""
        old = [one for one in claimed if look_first_before is not None and one.row.due_at < look_first_before]
        sought = [_sought(one, self.timing) for one in old]
        listed = listing_of(self.channel, sought)
        self.list_unreadable = self.list_unreadable or (bool(old) and listed is None)
        with self.store.read() as connection:
            reported = reports_of(connection, [one.row for one in claimed], still_going=True)
        if not old and not reported:
            return claimed
        settled: set[int] = set()
        with self.store.begin() as connection:
            network.lock(connection, self.channel.name)
            now = self.clock()
            found = match(sought, listed, taken_sids(connection, listed)) if listed else {}
            for one in claimed:
                row = one.row
                if row.key in reported:
                    report = reported[row.key]
                    self.done.found += keep_sent(connection, row, report.sid, report.received_at, now)
                elif row.id in found:
                    message = found[row.id]
                    self.done.found += keep_sent(connection, row, message.sid, message.created_at, now)
                elif listed is None and one in old:
                    self._give_back(connection, one)
                    self.done.later += 1
                else:
                    continue
                settled.add(row.id)
        return [one for one in claimed if one.row.id not in settled]

    def _leave_for_the_morning(self, claimed: list[_Claimed]) -> list[_Claimed]:
        """Give up, until eight where the caregiver lives, what must not be sent by night; the rest of the claims."""
        now = self.clock()
        by_day, mornings = [], []
        for one in claimed:
            morning = now if one.row.kind in BY_NIGHT_TOO else waking(now, one.about.time_zone)
            if morning > now:
                mornings.append((one, morning))
            else:
                by_day.append(one)
        if mornings:
            with self.store.begin() as connection:
                for one, morning in mornings:
                    self._give_back(connection, one, due_at=morning)
        return by_day

    # Handing over.

    def _send_batch(self, claimed: list[_Claimed]) -> None:
        handed: list[_Handed] = []
        left: list[_Claimed] = []
        for place, one in enumerate(claimed):
            if self.ending() or not self._waited_for_slot(one):
                left += claimed[place:]
                break
            now = self.clock()
            not_after = self._not_after(one, now)
            if now >= not_after or self._is_halted(one):
                left.append(one)
                continue
            answer = self._hand_over(one, now, not_after)
            handed.append(_Handed(one, answer, self.clock()))
            if len(handed) >= MARKED_TOGETHER or handed[-1].at - handed[0].at >= MARKED_WITHIN:
                self._mark(handed)
                handed = []
            if isinstance(answer, NotSent) and answer.outcome is Outcome.ACCOUNT:
                self.done.stopped_by = answer.code
                left += claimed[place + 1 :]
                break
        self._mark(handed)
        if left:
            with self.store.begin() as connection:
                for one in left:
                    self._give_back(connection, one)

    def _waited_for_slot(self, one: _Claimed) -> bool:
        """Wait for its slot, a little at a time, so that a sender that is to stop stops; False: it is to stop."""
        while (ahead := (one.slot - self.clock()).total_seconds()) > 0:
            if self.ending():
                return False
            self.sleep(min(ahead, 1.0))
        return True

    def _not_after(self, one: _Claimed, now: datetime) -> datetime:
        """Until when it may be written: within the claim, while it is of use, and soon after a look at the stops."""
        if not timedelta(0) <= now - self.looked_at < self.timing.stop_read_every:
            with self.store.read() as connection:
                self._read_stops(connection, now)
        lease_until: datetime = one.row.lease_until
        useful_until: datetime = one.row.useful_until
        return min(lease_until - self.timing.timeout, useful_until, self.looked_at + self.timing.written_within)

    def _read_stops(self, connection: Connection, now: datetime) -> None:
        self.halted = {stop.clinic_id for stop in stopping.standing_stops(connection)}
        self.looked_at = now

    def _is_halted(self, one: _Claimed) -> bool:
        return None in self.halted or one.about.clinic_id in self.halted

    def _hand_over(self, one: _Claimed, now: datetime, not_after: datetime) -> Accepted | NotSent:
        row = one.row
        try:
            message = Outgoing(
                to=row.phone,
                body=row.body,
                reference=row.key,
                useful_for=row.useful_until - now,
                not_after=not_after,
                sender=one.about.sender or None,
            )
        except ValueError as error:  # one message that cannot be sent must not stop those behind it
            return NotSent(Outcome.PERMANENT, "no-message", str(error))
        try:
            return self.channel.send(message)
        except NotSent as error:
            return error

    # Writing down what came of it.

    def _mark(self, handed: list[_Handed]) -> None:
        """Write down what came of a group of rows, in one transaction. Until then their claims hold: a sender that
        dies here leaves them in doubt."""
        if not handed:
            return
        with self.store.begin() as connection:
            network.lock(connection, self.channel.name)
            _doubt_mistaken(connection, handed)
            for item in handed:
                self._mark_one(connection, item)

    def _mark_one(self, connection: Connection, item: _Handed) -> None:
        row, answer, now = item.one.row, item.answer, item.at
        if isinstance(answer, Accepted):
            self.done.sent += self._mark_accepted(connection, row, answer.sid, now)
            return
        values: dict[str, Any] = {"error": answer.code}
        if answer.outcome is Outcome.IN_DOUBT:
            values |= {"state": "in_doubt", "doubted_at": now}
            self.done.in_doubt += 1
        elif answer.outcome is Outcome.ACCOUNT:
            values |= {"state": "queued", "attempt": row.attempt - 1}
            self.done.later += 1
            stopping.stop_for_account(connection, answer.code, answer.failed, now)
        elif answer.outcome is Outcome.TRANSIENT:
            burnt = 0 if answer.code == TOO_LATE else 1
            wait = self.timing.wait_after(row.attempt)
            values |= {"state": "queued", "due_at": now + wait, "attempt": row.attempt - 1 + burnt}
            self.done.later += 1
        else:
            values |= {"state": "failed"}
            self.done.failed += 1
        if self._fenced(connection, row, values) and values["state"] == "failed":
            _tell_of_number(connection, row, answer, now)

    def _mark_accepted(self, connection: Connection, row: Row[Any], sid: str, now: datetime) -> bool:
        """A known sid is never thrown away: not when the claim was lost while the network answered, and not when
        the row went on to another attempt."""
        values = {"state": "sent", "sid": sid, "sent_at": now}
        if not self._fenced(connection, row, values):
            late = connection.execute(_LATE, {"row": row.id, "n": row.attempt, "new_sid": sid, "now": now})
            if late.rowcount == 0:
                _note(connection, row, sid, now)
                return False
        if row.asks in (Asked.HOURS, Asked.NIGHTS):
            wake(connection, row.child_id, now)  # a check-in that went out starts the time to answer it
        return True

    def _fenced(self, connection: Connection, row: Row[Any], values: dict[str, Any]) -> bool:
        """Write the outcome unless the claim was lost meanwhile; whether it was written."""
        mine = update(t.outbox).where(
            _o.id == row.id, _o.owner == self.owner, _o.attempt == row.attempt, _o.state == "sending"
        )
        return connection.execute(mine.values(**{"owner": None, "lease_until": None, **values})).rowcount == 1

    def _give_back(self, connection: Connection, one: _Claimed, **values: Any) -> None:
        """Give up a claim on a row that was not handed over; it loses no attempt."""
        self._fenced(connection, one.row, {"state": "queued", "attempt": one.row.attempt - 1, **values})


@dataclass(frozen=True, slots=True)
class _Claimed:
    """A row of the outbox as claimed, what else is known about it, and when its slot begins."""

    row: Row[Any]
    about: Row[Any]
    slot: datetime


@dataclass(frozen=True, slots=True)
class _Handed:
    """A row that was handed over, what came back, and when."""

    one: _Claimed
    answer: Accepted | NotSent
    at: datetime


def _anything_waits(store: Store, now: datetime) -> bool:
    """Whether a row is due or a claim has lapsed: most ticks find neither."""
    with store.read() as connection:
        return connection.execute(_WAITS, {"now": now}).one_or_none() is not None


def _sought(one: _Claimed, timing: Timing) -> Sought:
    """It cannot have gone out before it was due, nor after it was of use."""
    row = one.row
    earliest, latest = row.due_at - timing.clock_slack, row.useful_until + timing.clock_slack
    return Sought(row.id, row.phone, row.body, earliest, latest)


def _doubt_mistaken(connection: Connection, handed: list[_Handed]) -> None:
    """Take a sid back from a row that was only found to fit it: the network's own answer says whose it is."""
    answers = {item.answer.sid: item.one.row.id for item in handed if isinstance(item.answer, Accepted)}
    for row in connection.execute(_HOLDERS, {"sids": list(answers)}).fetchall():
        if row.id != answers[row.sid]:
            at = next(item.at for item in handed if item.one.row.id == answers[row.sid])
            values = {"state": "in_doubt", "sid": None, "sent_at": None, "doubted_at": at}
            connection.execute(update(t.outbox).where(_o.id == row.id, _o.sid == row.sid).values(values))


def _note(connection: Connection, row: Row[Any], sid: str, now: datetime) -> None:
    """Keep a sid that fits no row any more, as a report: whoever is in doubt about that row finds it there."""
    values = {"sid": sid, "status": "accepted", "reference": row.key, "received_at": now}
    insert_if_new(connection, t.delivery_report, "sid", "status", **values)


def _tell_of_number(connection: Connection, row: Row[Any], answer: NotSent, now: datetime) -> None:
    """What a final failure says about the person: they want no more, or nothing gets through to their number."""
    if answer.outcome is Outcome.OPTED_OUT:
        stop_messages(connection, row.caregiver_id, now, StopReason.ASKED)
    elif answer.about_number:
        number_fails(connection, row.phone, answer.code, now)
    else:
        return
    wake(connection, row.child_id, now)


# Built once: making a statement costs more than running it.
_o = t.outbox.c
_NOW = bindparam("now", type_=t.UtcDateTime())
_WAITS = (
    select(_o.id).where(_o.state.in_(["queued", "sending"]), or_(_o.due_at <= _NOW, _o.lease_until <= _NOW)).limit(1)
)
_EXPIRE = update(t.outbox).where(_o.state == "queued", _o.useful_until <= _NOW).values(state="expired")
_DOUBT = (
    update(t.outbox)
    .where(_o.state == "sending", _o.lease_until <= _NOW)
    .values(state="in_doubt", owner=None, lease_until=None, doubted_at=_NOW)
)
_SENDER = func.coalesce(t.clinic.c.sender, "")
_DUE = (
    select(_o.id, _o.parts, _SENDER.label("sender"), t.child.c.clinic_id, t.caregiver.c.time_zone)
    .join(t.caregiver, t.caregiver.c.id == _o.caregiver_id)
    .join(t.child, t.child.c.id == _o.child_id)
    .join(t.clinic, t.clinic.c.id == t.child.c.clinic_id)
    .where(
        _o.state == "queued",
        _o.due_at <= _NOW,
        _o.due_at >= bindparam("due_from", type_=t.UtcDateTime()),
        _o.useful_until > _NOW,
        t.child.c.clinic_id.not_in(bindparam("halted", expanding=True)),
        _SENDER.not_in(bindparam("full", expanding=True)),
    )
    .order_by(_o.priority, _o.due_at, _o.id)
    .limit(BATCH)
    .with_for_update(of=t.outbox, skip_locked=True)  # on PostgreSQL; on SQLite the writer is alone anyway
)
_CLAIM = (
    update(t.outbox)
    .where(_o.id.in_(bindparam("ids", expanding=True)), _o.state == "queued")
    .values(
        state="sending",
        owner=bindparam("claimer"),
        attempt=_o.attempt + 1,
        lease_until=bindparam("lease", type_=t.UtcDateTime()),
        handed_at=_NOW,
        channel=bindparam("over"),
    )
    .returning(
        *(_o.id, _o.key, _o.kind, _o.child_id, _o.caregiver_id, _o.phone, _o.body, _o.asks, _o.state),
        *(_o.attempt, _o.priority, _o.due_at, _o.useful_until, _o.lease_until),
    )
)
# The answer to an attempt whose claim was lost meanwhile.
_LATE = (
    update(t.outbox)
    .where(
        _o.id == bindparam("row"),
        _o.attempt == bindparam("n"),
        _o.state.in_(["in_doubt", "queued", "unknown", "expired", "withdrawn"]),
    )
    .values(state="sent", sid=bindparam("new_sid"), sent_at=_NOW)
)
_HOLDERS = select(_o.id, _o.sid).where(_o.sid.in_(bindparam("sids", expanding=True)))
