"""Caregivers: whether they may be written to."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, update

from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t


class StopReason(StrEnum):
    """Why nothing is sent to a caregiver. Only they themselves begin again after ASKED."""

    ASKED = "asked"
    MOURNING = "mourning"
    WRONG_PERSON = "wrong_person"


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
