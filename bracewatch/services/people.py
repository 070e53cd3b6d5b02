"""Caregivers: whether they may be written to, and whether their number works."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, bindparam, func, or_, select, update

from bracewatch.services.enrolment import phone_number
from bracewatch.services.waking import keep_change, wake
from bracewatch.store import Store
from bracewatch.store import tables as t


class StopReason(StrEnum):
    """Why nothing is sent to a caregiver. Only they themselves begin again after ASKED."""

    ASKED = "asked"
    MOURNING = "mourning"
    WRONG_PERSON = "wrong_person"


class NumberRefused(ValueError):
    """The number cannot be written down like this; the message says why and what to do."""


def stop_messages(connection: Connection, caregiver_id: int, now: datetime, why: StopReason) -> None:
    """Send a caregiver nothing more, and take back what is still waiting. A reason that stands already stays."""
    connection.execute(
        update(t.caregiver)
        .where(t.caregiver.c.id == caregiver_id, t.caregiver.c.stopped_at.is_(None))
        .values(stopped_at=now, stopped_why=why)
    )
    connection.execute(
        update(t.outbox)
        .where(t.outbox.c.caregiver_id == caregiver_id, t.outbox.c.state == "queued")
        .values(state="withdrawn")
    )


def release(store: Store, caregiver_id: int, now: datetime) -> bool:
    """Write to a caregiver again whom we had stopped writing to ourselves; whether anything was changed.

    Nothing changes for somebody who asked for no messages: only their own word begins them again.
    """
    with store.begin() as connection:
        child_id = connection.execute(
            update(t.caregiver)
            .where(
                t.caregiver.c.id == caregiver_id,
                t.caregiver.c.stopped_why.in_([StopReason.MOURNING, StopReason.WRONG_PERSON]),
            )
            .values(stopped_at=None, stopped_why=None)
            .returning(t.caregiver.c.child_id)
        ).scalar_one_or_none()
        if child_id is None:
            return False
        wake(connection, child_id, now)
    return True


def number_fails(connection: Connection, phone: str, code: str, now: datetime) -> None:
    """The network said, with that code of its own, that nothing gets through to the number.

    It counts for everybody who has that number. A failure that is known already keeps its moment.
    """
    person = t.caregiver.c
    failed = (
        update(t.caregiver)
        .where(person.phone == phone, or_(person.number_failed_at.is_(None), person.number_failed_code != code))
        .values(number_failed_at=func.coalesce(person.number_failed_at, now), number_failed_code=code)
        .returning(person.child_id)
    )
    for child_id in connection.execute(failed).scalars().all():
        wake(connection, child_id, now)


def number_works(connection: Connection, phone: str, at: datetime) -> None:
    """Something got through to the number, or came from it, at that moment: an earlier failure is over."""
    for child_id in connection.execute(_WORKS, {"number": phone, "at": at}).scalars().all():
        wake(connection, child_id, at)


# Built once: making a statement costs more than running it.
_WORKS = (
    update(t.caregiver)
    .where(
        t.caregiver.c.phone == bindparam("number"),
        t.caregiver.c.number_failed_at <= bindparam("at", type_=t.UtcDateTime()),
    )
    .values(number_failed_at=None, number_failed_code=None)
    .returning(t.caregiver.c.child_id)
)


def change_number(store: Store, caregiver_id: int, phone: str, now: datetime) -> None:
    """The caregiver has another number from now on; what is still waiting goes there.

    The old one is kept beside it, a failure noted of it is over, and a stop because the old number was somebody
    else's is lifted; a stop that the caregiver asked for stays. Raises NumberRefused for a number that is not
    valid, is the one written down already, or for a caregiver who is not there.
    """
    try:
        new = phone_number(phone)
    except ValueError as error:
        raise NumberRefused(str(error)) from error
    person = t.caregiver.c
    with store.begin() as connection:
        row = connection.execute(select(t.caregiver).where(person.id == caregiver_id).with_for_update()).one_or_none()
        if row is None:
            raise NumberRefused(f"there is no caregiver {caregiver_id}")
        if row.phone == new:
            raise NumberRefused("this is the number we have already: check the digits with the family")
        values: dict[str, object] = {"phone": new, "number_failed_at": None, "number_failed_code": None}
        if row.stopped_why == StopReason.WRONG_PERSON:
            values |= {"stopped_at": None, "stopped_why": None}
        connection.execute(update(t.caregiver).where(person.id == caregiver_id).values(values))
        connection.execute(
            update(t.outbox)
            .where(t.outbox.c.caregiver_id == caregiver_id, t.outbox.c.state == "queued")
            .values(phone=new)
        )
        keep_change(connection, row.child_id, "phone", row.phone, new, now)
