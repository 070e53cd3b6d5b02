"""A small fixed cast on a real database file: one clinic, families, a network that remembers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy import select

from bracewatch.messages.adapter import Accepted, Incoming, Listed, NotListed, NotSent, Outgoing
from bracewatch.schedule.protocol import Protocol
from bracewatch.services import enrolment, inbox
from bracewatch.services.reconciling import reconcile
from bracewatch.services.reviewing import review_due
from bracewatch.services.sending import Sent, send_due
from bracewatch.services.timing import Timing
from bracewatch.store import Store
from bracewatch.store import tables as t

ZONE = "Africa/Nairobi"
NOW = datetime(2026, 9, 1, 9, tzinfo=UTC)  # noon in Nairobi on a Tuesday
MOTHER = "+442079460001"


@dataclass
class Network:
    """A channel that keeps what it was handed, and fails when told to."""

    name: str = "network"
    clock: Callable[[], datetime] = lambda: NOW
    handed: list[Outgoing] = field(default_factory=list)
    failures: list[NotSent] = field(default_factory=list)
    kept: list[Listed] = field(default_factory=list)  # what the network has taken
    keeps_though_failing: bool = False
    list_down: bool = False

    def send(self, message: Outgoing) -> Accepted:
        self.handed.append(message)
        if self.failures and not self.keeps_though_failing:
            raise self.failures.pop(0)
        sid = f"sid-{len(self.kept) + 1}"
        self.kept.append(Listed(sid, message.to, message.body, self.clock(), "queued"))
        if self.failures:
            raise self.failures.pop(0)
        return Accepted(sid=sid, parts=None)

    def listing(self, since: datetime, to: str | None) -> list[Listed]:
        if self.list_down:
            raise NotListed("timeout")
        return [kept for kept in self.kept if kept.created_at >= since and to in (None, kept.to)]

    def heard(self, since: datetime) -> list[Incoming]:
        return []


@dataclass
class World:
    store: Store
    network: Network
    clinic_id: int
    now: datetime = NOW

    def __post_init__(self) -> None:
        self.network.clock = lambda: self.now

    def enrol(self, protocols: Mapping[str, Protocol] | None = None, **changes: Any) -> int:
        given: dict[str, Any] = {
            "clinic_id": self.clinic_id,
            "child_name": "Tumaini",
            "born": date(2026, 7, 1),
            "brace_start": date(2026, 9, 1),
            "caregiver_name": "Zawadi (mother)",
            "phone": MOTHER,
            "language": "en",
            "contact_time": time(18),
            "agreed_at": self.now,
            "agreed_text": "welcome, first wording",
            "agreed_by": "Nurse Imara",
        }
        return enrolment.enrol(self.store, enrolment.NewFamily(**{**given, **changes}), self.now, protocols)

    def tick(self, timing: Timing | None = None) -> Sent:
        review_due(self.store, self.now)
        reconcile(self.store, self.network, lambda: self.now, timing=timing)
        return send_due(self.store, self.network, lambda: self.now, owner="test", timing=timing)

    def live_until(self, moment: datetime) -> None:
        """Tick every hour up to `moment`, as if a sender had run all the time."""
        while self.now < moment:
            self.now = min(self.now + timedelta(hours=1), moment)
            self.tick(Timing(gap=None))

    def reply(self, body: str, phone: str = MOTHER, sid: str | None = None) -> inbox.Received | None:
        taken = inbox.receive(
            self.store, sid=sid or f"in-{self.now.isoformat()}-{body}", phone=phone, body=body, received_at=self.now
        )
        self.tick()
        return taken

    def rows(self, table: Any, *conditions: Any) -> list[Any]:
        with self.store.read() as connection:
            return list(connection.execute(select(table).where(*conditions).order_by(table.c.id)))

    def flags(self) -> list[str]:
        """Codes of the flags that stand."""
        return [row.code for row in self.rows(t.flag, t.flag.c.cleared_at.is_(None))]

    def said(self) -> list[str]:
        """Kinds of the messages that went out, in order."""
        return [row.kind for row in self.rows(t.outbox, t.outbox.c.state == "sent")]
