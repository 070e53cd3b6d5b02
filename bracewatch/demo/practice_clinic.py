"""The practice clinic while it is open: its clock, and the play that goes on beside whoever practises."""

from __future__ import annotations

import fcntl
import threading
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import IO

from sqlalchemy import URL
from sqlalchemy.exc import DBAPIError

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

    def __init__(self, store: Store, programme: Programme, wall: Callable[[], datetime], held: IO[str]) -> None:
        self.store = store
        self.held = held
        self.programme = programme
        self.wall = wall
        self.playing = threading.RLock()

    @classmethod
    def on_file(cls, path: Path, programme: Programme, wall: Callable[[], datetime]) -> PracticeClinic:
        """Open the practice clinic in that file, new or from an earlier day.

        Raises NotAPracticeFile when the file is a database of something else (real families are never played
        with), cannot be opened, or is open in another practice clinic.
        """
        try:
            if path.exists() and path.stat().st_size and not p.is_practice_file(path):
                raise NotAPracticeFile(f"{path} is not a practice clinic: name another file with --file")
            held = _hold(path)
            store = Store(URL.create("sqlite", database=str(path)), survives_power_cuts=False)
            p.prepare(store)  # first, so that a file cut off here is still known for what it is
            store.migrate()
            with store.begin() as connection:
                p.put_back_claims(connection, player.OWNER)
            clinic = cls(store, programme, wall, held)
            player.begin(store, programme, wall())
        except (OSError, DBAPIError) as error:
            raise NotAPracticeFile(f"{path} cannot be opened: {_reason(error)}. Name another with --file") from error
        return clinic

    def close(self) -> None:
        """Leave the file to the next."""
        self.store.close()
        self.held.close()

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


def _hold(path: Path) -> IO[str]:
    """Keep the file to ourselves for as long as what comes back is open: two plays on one file would both be wrong."""
    held = path.with_name(path.name + ".lock").open("w")
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        held.close()
        raise NotAPracticeFile(f"{path} is open in another practice clinic: close it, or name another file") from error
    return held


def _reason(error: OSError | DBAPIError) -> str:
    return str(error.orig) if isinstance(error, DBAPIError) else str(error.strerror)
