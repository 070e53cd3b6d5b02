"""One look at everything that is due: find out about what is in doubt, review, send."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from threading import Event

from bracewatch.messages.adapter import Channel, NotListed
from bracewatch.services.catching_up import catch_up, is_due
from bracewatch.services.reconciling import Reconciled, reconcile
from bracewatch.services.reviewing import review_due
from bracewatch.services.sending import Sent, send_due
from bracewatch.services.timing import Timing
from bracewatch.store import Store


@dataclass(frozen=True, slots=True)
class Done:
    """What one look did: replies fetched, children reviewed, messages settled, messages sent."""

    reviewed: int
    settled: Reconciled
    sent: Sent
    heard: int = 0  # replies fetched that no hook had brought
    list_unreadable: bool = False  # the network's list of replies

    @property
    def changed(self) -> bool:
        return (
            bool(self.reviewed or self.heard or self.list_unreadable)
            or self.settled != Reconciled()
            or self.sent != Sent()
        )

    def line(self) -> str:
        """One line without personal data."""
        sent, settled = self.sent, self.settled
        line = (
            f"reviewed {self.reviewed}, sent {sent.sent}, found {sent.found + settled.sent}, later {sent.later},"
            f" in doubt {sent.in_doubt + settled.waiting}, failed {sent.failed},"
            f" expired {sent.expired + settled.expired}, unknown {settled.unknown}, replies fetched {self.heard}"
        )
        if self.list_unreadable:
            line += "; the list of replies could not be read"
        return (
            line if sent.stopped_by is None else f"{line}; sending stopped: the account is at fault ({sent.stopped_by})"
        )


@dataclass(frozen=True, slots=True)
class Work:
    """What a process does again and again. Any number of processes may do it at once.

    Once `ending` is set nothing more is begun.
    """

    store: Store
    channel: Channel
    clock: Callable[[], datetime]
    owner: str
    timing: Timing
    ending: Event

    def do(self) -> Done:
        """One look; a long queue is left to the next one after a while, so that answers get their turn."""
        settled = reconcile(self.store, self.channel, self.clock, timing=self.timing)
        heard, unreadable = self._catch_up()
        reviewed = 0 if self.ending.is_set() else review_due(self.store, self.clock())
        sent = Sent()
        if not self.ending.is_set():
            sent = send_due(
                self.store,
                self.channel,
                self.clock,
                self.owner,
                timing=self.timing,
                sleep=self._sleep,
                ending=self.ending.is_set,
            )
        return Done(reviewed, settled, sent, heard, unreadable)

    def _catch_up(self) -> tuple[int, bool]:
        """Fetch replies that the hooks may have missed, every few minutes; how many, and whether that failed."""
        now = self.clock()
        if self.ending.is_set() or not is_due(self.store, self.channel.name, now):
            return 0, False
        try:
            return catch_up(self.store, self.channel.name, self.channel.heard, now), False
        except NotListed:
            return 0, True

    def _sleep(self, seconds: float) -> None:
        self.ending.wait(seconds)
