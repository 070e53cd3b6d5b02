"""The practice clinic's phone: messages go to the screen, never to a network."""

from dataclasses import dataclass, field
from typing import ClassVar

from bracewatch.messages.adapter import Accepted, NotSent, Outcome, Outgoing


@dataclass(frozen=True, slots=True)
class PracticePhone:
    """A channel that accepts every message at once and remembers nothing.

    The sid is made from the reference, so one reference sent twice is one message, as it should be.
    `dead_numbers` and `opted_out` are E.164 numbers that refuse the way a network would.
    """

    name: ClassVar[str] = "practice"
    dead_numbers: frozenset[str] = field(default=frozenset(), repr=False)
    opted_out: frozenset[str] = field(default=frozenset(), repr=False)

    def send(self, message: Outgoing) -> Accepted:
        """Accepted with sid "practice-" and the reference; parts is None, this phone does not count them.

        Raises NotSent: PERMANENT for a dead number, OPTED_OUT for a number that asked to stop.
        """
        if message.to in self.dead_numbers:
            raise NotSent(Outcome.PERMANENT, "no-such-number", "the practice phone knows no such number")
        if message.to in self.opted_out:
            raise NotSent(Outcome.OPTED_OUT, "opted-out", "this number asked the practice phone to stop")
        return Accepted(sid=f"practice-{message.reference}", parts=None)
