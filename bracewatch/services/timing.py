"""How long the sender waits for what."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta


@dataclass(frozen=True, slots=True)
class Timing:
    """The sender's waits. All processes that share a database use the same. Raises ValueError for a lease that
    does not outlast a hand-over.

    `timeout` bounds one hand-over on the channel, connecting included. A claim holds for `lease`; nothing is
    handed over so late in it that the answer could come after its end. What is in doubt is looked for after
    `looked_for_after`. After a `gap` without any sender running, what was due before is looked for before it is sent
    (None: never, for a phone that is a screen). A stop counts within `stop_read_every` plus `written_within`.
    `clock_slack` is by how much the network's clock may differ from ours. `ahead` is for how long slots of a
    sender's pace are taken in advance, `parts_a_second` that pace (None: no limit). One run ends after `run`, so
    that reviews and answers get their turn.
    """

    timeout: timedelta = timedelta(seconds=10)
    lease: timedelta = timedelta(minutes=5)
    gap: timedelta | None = timedelta(seconds=60)
    first_wait: timedelta = timedelta(minutes=1)  # after a failure that will pass; doubled with each attempt
    longest_wait: timedelta = timedelta(minutes=15)
    stop_read_every: timedelta = timedelta(seconds=1)
    written_within: timedelta = timedelta(seconds=4)
    clock_slack: timedelta = timedelta(minutes=5)
    ahead: timedelta = timedelta(seconds=3)
    parts_a_second: float | None = None
    run: timedelta = timedelta(seconds=20)

    def __post_init__(self) -> None:
        if self.lease <= 2 * self.timeout:
            raise ValueError(f"the lease ({self.lease}) must be longer than two timeouts ({self.timeout} each)")
        if self.parts_a_second is not None and not self.parts_a_second > 0:
            raise ValueError(f"parts_a_second must be more than zero, not {self.parts_a_second}")

    @property
    def looked_for_after(self) -> timedelta:
        """By then a request that was written is in the network's list, or never will be."""
        return 2 * self.timeout

    def wait_after(self, attempt: int) -> timedelta:
        """How long to wait after the attempt of that number (1 is the first) failed in a way that will pass."""
        doublings = min(attempt - 1, 30)
        return min(self.first_wait * (1 << doublings), self.longest_wait)
