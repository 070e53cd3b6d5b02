"""The practice clinic's phone: messages go to the screen, never to a network."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import ClassVar

from bracewatch.messages.adapter import Accepted, Incoming, Listed, NotSent, Outcome, Outgoing


@dataclass(frozen=True, slots=True)
class PracticePhone:
    """A channel that accepts every message at once and lists what it accepted since it was made.

    The sid is made from the reference, so one reference sent twice is one message, as it should be.
    `dead_numbers` and `opted_out` are E.164 numbers that refuse the way a network would.
    """

    name: ClassVar[str] = "practice"
    dead_numbers: frozenset[str] = field(default=frozenset(), repr=False)
    opted_out: frozenset[str] = field(default=frozenset(), repr=False)
    clock: Callable[[], datetime] = field(default=lambda: datetime.now(UTC), repr=False, compare=False)
    _kept: dict[str, Listed] = field(default_factory=dict, init=False, repr=False, compare=False)

    def send(self, message: Outgoing) -> Accepted:
        """Accepted with sid "practice-" and the reference; parts is None, this phone does not count them.

        It takes no time, so nothing becomes too late here. Raises NotSent: PERMANENT for a dead number, OPTED_OUT
        for a number that asked to stop.
        """
        if message.to in self.dead_numbers:
            raise NotSent(
                Outcome.PERMANENT, "no-such-number", "the practice phone knows no such number", about_number=True
            )
        if message.to in self.opted_out:
            raise NotSent(Outcome.OPTED_OUT, "opted-out", "this number asked the practice phone to stop")
        sid = f"practice-{message.reference}"
        self._kept.setdefault(sid, Listed(sid, message.to, message.body, self.clock(), "sent"))
        return Accepted(sid=sid, parts=None)

    def listing(self, since: datetime, to: str | None) -> list[Listed]:
        """What it accepted at or after `since`; never raises."""
        return [kept for kept in list(self._kept.values()) if kept.created_at >= since and to in (None, kept.to)]

    def heard(self, since: datetime) -> list[Incoming]:
        """Nothing: replies are typed into the page."""
        return []
