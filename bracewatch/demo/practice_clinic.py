"""The practice clinic while it is open: its clock, and the play that goes on beside whoever practises."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

from bracewatch.demo import player
from bracewatch.demo.families import Programme
from bracewatch.store import Store
from bracewatch.store import practice as p

MORNING = time(6)  # in UTC: between eight and noon in the three practice clinics


class NotAPracticeFile(ValueError):
    """The file belongs to something else; the message says what to do."""


class PracticeClinic:
    """One practice clinic on one database file. Safe to use from several threads.

    Its clock is the clock on the wall, moved on by whole mornings when somebody asks for the next one.
    """

    def __init__(self, store: Store, programme: Programme, wall: Callable[[], datetime]) -> None:
        self.store = store
        self.programme = programme
        self.wall = wall
        self.playing = threading.RLock()

    @classmethod
    def on_file(cls, path: Path, programme: Programme, wall: Callable[[], datetime]) -> PracticeClinic:
        """Open the practice clinic in that file, new or from an earlier day.

        Raises NotAPracticeFile when the file is a database of something else: real families are never played with.
        """
        is_new = not path.exists() or path.stat().st_size == 0
        other = NotAPracticeFile(f"{path} is not a practice clinic: name another file with --file")
        if not is_new and not _is_sqlite(path):
            raise other
        store = Store(f"sqlite:///{path}", survives_power_cuts=False)
        if not is_new and not p.is_practice(store):
            store.close()
            raise other
        p.prepare(store)  # first, so that a file cut off here is still known for what it is
        store.migrate()
        clinic = cls(store, programme, wall)
        player.begin(store, programme, wall())
        return clinic

    def now(self) -> datetime:
        """The practice clock, an aware datetime."""
        with self.store.read() as connection:
            state = p.state(connection)
        played_to: datetime = state.played_to
        return max(self.wall() + timedelta(seconds=state.seconds_ahead), played_to)

    @property
    def secret(self) -> str:
        """Signs the forms of this practice clinic."""
        with self.store.read() as connection:
            return str(p.state(connection).secret)

    def tick(self) -> None:
        """Let everything happen up to now."""
        with self.playing:
            player.play_to(self.store, self.programme, self.now())

    def to_next_morning(self) -> None:
        """Move the practice clock on to the next morning and let everything happen until then."""
        with self.playing:
            now = self.now()
            morning = datetime.combine(now.date(), MORNING, UTC)
            if morning <= now:
                morning += timedelta(days=1)
            with self.store.begin() as connection:
                p.set_seconds_ahead(connection, round((morning - self.wall()).total_seconds()))
            player.play_to(self.store, self.programme, morning)

    def by_hand(self, child_id: int) -> bool:
        """Whether somebody answers for this family."""
        with self.store.read() as connection:
            part = p.parts(connection).get(child_id)
        return part is not None and part.by_hand

    def take_over(self, child_id: int) -> None:
        """Answer for this family from now on: its script is silent."""
        with self.store.begin() as connection:
            p.take_over(connection, child_id)


def _is_sqlite(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(16) == b"SQLite format 3\x00"
