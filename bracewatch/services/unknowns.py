"""Messages of which nobody can say whether they arrived: staff ask the family, and decide."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import func, select, update

from bracewatch.messages.kinds import Asked
from bracewatch.services.waking import wake
from bracewatch.store import Store
from bracewatch.store import tables as t


class NotOpen(ValueError):
    """There is nothing to decide about that message; the text says what to do."""


def settle(store: Store, outbox_id: int, *, arrived: bool, by: str, now: datetime) -> str:
    """Decide about a message that is in doubt or unknown; the state it has now.

    "sent" when it arrived; when it did not, "queued" again while it is of use, else "expired". Raises NotOpen
    without a name, or for a message that is neither (another person, or the network, may have been faster).
    """
    if not by.strip():
        raise NotOpen("say who decides")
    _o = t.outbox.c
    with store.begin() as connection:
        row = connection.execute(
            select(t.outbox).where(_o.id == outbox_id, _o.state.in_(["in_doubt", "unknown"])).with_for_update()
        ).one_or_none()
        if row is None:
            raise NotOpen(f"message {outbox_id} is not in doubt any more: look again")
        state = "sent" if arrived else "queued" if now < row.useful_until else "expired"
        values = {"state": state, "settled_by": by.strip(), "settled_at": now}
        if arrived:
            values["sent_at"] = func.coalesce(_o.handed_at, now)
        connection.execute(update(t.outbox).where(_o.id == outbox_id).values(values))
        if arrived and row.asks in (Asked.HOURS, Asked.NIGHTS):
            wake(connection, row.child_id, now)
    return state
