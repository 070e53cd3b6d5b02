"""The tick: review every child whose moment has come, write what follows, set the next moment."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, bindparam, insert, select, update

from bracewatch.review import Case, Review, review
from bracewatch.review.contact import keys_that_stand
from bracewatch.review.flag import Flag
from bracewatch.schedule.facts import FactKind
from bracewatch.services.outgoing import Addressee, addressees, queue
from bracewatch.services.waking import FOLLOWS_THE_PLAN
from bracewatch.store import Store, cases
from bracewatch.store import tables as t
from bracewatch.store.courses import is_full

BATCH = 500

_DUE = (
    select(t.child.c.id)
    .where(t.child.c.wake_at <= bindparam("now", type_=t.UtcDateTime()))
    .order_by(t.child.c.wake_at)
    .limit(BATCH)
    .with_for_update(skip_locked=True)  # on PostgreSQL; on SQLite the writer is alone anyway
)
_SET_WAKE = (
    update(t.child).where(t.child.c.id == bindparam("child")).values(wake_at=bindparam("at", type_=t.UtcDateTime()))
)
_TRIED = select(t.outbox.c.id, t.outbox.c.child_id, t.outbox.c.key).where(
    t.outbox.c.child_id.in_(bindparam("ids", expanding=True)),
    t.outbox.c.state == "queued",
    t.outbox.c.attempt > 0,
    t.outbox.c.kind.in_(FOLLOWS_THE_PLAN),
)
_STANDING = select(t.flag).where(t.flag.c.child_id.in_(bindparam("ids", expanding=True)), t.flag.c.cleared_at.is_(None))


def review_due(store: Store, now: datetime) -> int:
    """Review all children whose `wake_at` has passed; how many there were. Running it twice changes nothing."""
    total = 0
    while True:
        reviewed, once_more = _review_batch(store, now)
        total += reviewed
        if reviewed < BATCH and not once_more:
            return total


def _review_batch(store: Store, now: datetime) -> tuple[int, bool]:
    """Review up to `BATCH` children; how many there were, and whether some of them must be reviewed once more."""
    once_more = False
    with store.begin() as connection:
        child_ids = list(connection.execute(_DUE, {"now": now}).scalars())
        if not child_ids:
            return 0, False
        standing = _standing_flags(connection, child_ids)
        wake_at: dict[int, datetime | None] = dict.fromkeys(child_ids)
        results = [(case, review(case, now)) for case in cases.load(connection, child_ids, now)]
        waiting = _tried_before(connection, child_ids)
        to = addressees(connection, (message.caregiver_id for _, result in results for message in result.messages))
        for case, result in results:
            _withdraw_untrue(connection, case, waiting.get(case.child_id, []), now)
            _queue_messages(connection, to, result, now)
            _keep_flags(connection, case, result, standing.get(case.child_id, {}), now)
            booked = _book(connection, case, result, now)
            once_more = once_more or not booked
            wake_at[case.child_id] = result.wake_at if booked else now
        connection.execute(_SET_WAKE, [{"child": child_id, "at": at} for child_id, at in wake_at.items()])
    return len(child_ids), once_more


def _tried_before(connection: Connection, child_ids: list[int]) -> dict[int, list[Any]]:
    """The messages that wait to be handed over once more, by child; those that were never tried go when plans do."""
    waiting: dict[int, list[Any]] = {}
    for row in connection.execute(_TRIED, {"ids": child_ids}):
        waiting.setdefault(row.child_id, []).append(row)
    return waiting


def _withdraw_untrue(connection: Connection, case: Case, waiting: list[Any], now: datetime) -> None:
    """A reminder that waits for a visit that has moved since is not sent."""
    if waiting:
        standing = keys_that_stand(case, now)
        untrue = [row.id for row in waiting if row.key not in standing]
        row = t.outbox.c
        connection.execute(update(t.outbox).where(row.id.in_(untrue), row.state == "queued").values(state="withdrawn"))


def _queue_messages(connection: Connection, to: dict[int, Addressee], result: Review, now: datetime) -> None:
    for message in result.messages:
        queue(
            connection,
            to[message.caregiver_id],
            key=message.key,
            kind=message.kind,
            due_at=message.due_at,
            useful_until=message.useful_until,
            facts=message.facts,
            now=now,
        )


def _book(connection: Connection, case: Case, result: Review, now: datetime) -> bool:
    """Hold the days of visits that have come near; False when one of them has filled up since it was chosen.

    The child is then reviewed again, and the next day is found.
    """
    for booking in result.bookings:
        if is_full(connection, case.clinic_id, booking.on):
            return False
        connection.execute(
            insert(t.course_fact).values(
                course_id=case.course_id,
                kind=FactKind.VISIT_HELD,
                on_day=booking.on,
                about=booking.visit_key,
                recorded_at=now,
            )
        )
    return True


def _keep_flags(
    connection: Connection, case: Case, result: Review, standing: dict[str, Row[tuple[object]]], now: datetime
) -> None:
    raised = {flag.code: flag for flag in result.flags}
    for code, row in standing.items():
        if code not in raised:
            connection.execute(update(t.flag).where(t.flag.c.id == row.id).values(cleared_at=now))
    for code, flag in raised.items():
        if code not in standing:
            connection.execute(insert(t.flag).values(child_id=case.child_id, code=code, raised_at=now, **_shown(flag)))
        elif _differs(standing[code], flag):
            connection.execute(update(t.flag).where(t.flag.c.id == standing[code].id).values(**_shown(flag)))


def _shown(flag: Flag) -> dict[str, object]:
    return {
        "urgency": int(flag.urgency),
        "sentence": flag.sentence,
        "evidence": list(flag.evidence),
        "since": flag.since,
    }


def _differs(row: Row[tuple[object]], flag: Flag) -> bool:
    return any(getattr(row, name) != value for name, value in _shown(flag).items())


def _standing_flags(connection: Connection, child_ids: list[int]) -> dict[int, dict[str, Row[tuple[object]]]]:
    standing: dict[int, dict[str, Row[tuple[object]]]] = {}
    for row in connection.execute(_STANDING, {"ids": child_ids}):
        standing.setdefault(row.child_id, {})[row.code] = row
    return standing
