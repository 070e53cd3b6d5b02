"""The pace of a sender: how many parts a second its number may send, shared by all processes."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection, insert, select, update

from bracewatch.services.timing import Timing
from bracewatch.store import tables as t


class Slots:
    """Slots of every sender, taken within one transaction under the network's lock."""

    def __init__(self, connection: Connection, now: datetime, timing: Timing) -> None:
        self.connection, self.now, self.until = connection, now, now + timing.ahead
        self.a_part = timedelta(seconds=1 / timing.parts_a_second) if timing.parts_a_second else None
        rows = connection.execute(select(t.sender_pace)) if self.a_part else ()
        self.kept: dict[str, datetime] = {row.sender: row.free_at for row in rows}
        self.free_at = dict(self.kept)
        self.was_full = False

    def full(self) -> list[str]:
        """The senders that have no slot free soon."""
        return sorted(sender for sender, free_at in self.free_at.items() if free_at > self.until)

    def take(self, sender: str, parts: int) -> datetime | None:
        """When a message of so many parts may go out; None: not soon."""
        if self.a_part is None:
            return self.now
        slot = max(self.free_at.get(sender, self.now), self.now)
        if slot > self.until:
            self.was_full = True
            return None
        self.free_at[sender] = slot + parts * self.a_part
        return slot

    def keep(self) -> None:
        """Write down what was taken."""
        for sender, free_at in self.free_at.items():
            if sender not in self.kept:
                self.connection.execute(insert(t.sender_pace).values(sender=sender, free_at=free_at))
            elif self.kept[sender] != free_at:
                self.connection.execute(
                    update(t.sender_pace).where(t.sender_pace.c.sender == sender).values(free_at=free_at)
                )
