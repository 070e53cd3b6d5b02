"""Telephone calls that staff made, and what came of them."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import Connection, insert, select

from bracewatch.services.people import StopReason, stop_messages
from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t

MAX_NOTE = 1000
SECOND_PRESS = timedelta(seconds=10)


class CallOutcome(StrEnum):
    SPOKE = "spoke"
    NO_ANSWER = "no_answer"
    SOMEONE_ELSE = "someone_else"
    CALL_LATER = "call_later"
    WRONG_NUMBER = "wrong_number"

    @property
    def words(self) -> str:
        return {
            "spoke": "Spoke with the family",
            "no_answer": "No answer",
            "someone_else": "Someone else answered",
            "call_later": "Asked to call later",
            "wrong_number": "Wrong number",
        }[self.value]


class CallRefused(ValueError):
    """The call cannot be written down like this; the message says why and what to do."""


def record(store: Store, child_id: int, outcome: str, now: datetime, note: str = "") -> None:
    """Write a call down. Having spoken settles what the family wrote before it; the other outcomes settle nothing.

    A wrong number stops the texts to it until somebody has put it right. The same outcome within ten seconds is
    a second press of the same button, and changes nothing. Raises CallRefused for an unknown outcome or child,
    and for a note over 1,000 characters.
    """
    if outcome not in set(CallOutcome):
        raise CallRefused(f"no outcome {outcome!r}: choose one of {', '.join(CallOutcome)}")
    if len(note) > MAX_NOTE:
        raise CallRefused(f"the note has {len(note)} characters: shorten it to {MAX_NOTE}")
    with store.begin() as connection:
        if connection.execute(select(t.child.c.id).where(t.child.c.id == child_id)).one_or_none() is None:
            raise CallRefused(f"there is no child {child_id}")
        if _said_just_now(connection, child_id, outcome, note.strip(), now):
            return
        if outcome == CallOutcome.WRONG_NUMBER:
            for caregiver_id in _caregivers(connection, child_id):
                stop_messages(connection, caregiver_id, now, StopReason.WRONG_PERSON)
        connection.execute(insert(t.call).values(child_id=child_id, called_at=now, outcome=outcome, note=note.strip()))
        wake(connection, child_id, now)


def _said_just_now(connection: Connection, child_id: int, outcome: str, note: str, now: datetime) -> bool:
    last = connection.execute(
        select(t.call).where(t.call.c.child_id == child_id).order_by(t.call.c.id.desc()).limit(1)
    ).one_or_none()
    return last is not None and (last.outcome, last.note) == (outcome, note) and now - last.called_at < SECOND_PRESS


def _caregivers(connection: Connection, child_id: int) -> list[int]:
    return list(connection.execute(select(t.caregiver.c.id).where(t.caregiver.c.child_id == child_id)).scalars())
