"""What the practice clinic remembers of its own play. These tables exist in practice files only."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Date,
    ForeignKey,
    Integer,
    MetaData,
    Table,
    Text,
    insert,
    select,
    update,
)

from bracewatch.store import Store
from bracewatch.store import tables as t

metadata = MetaData()


@dataclass(frozen=True, slots=True)
class Part:
    """A family of the programme's file, and whether somebody answers for it by hand."""

    family_key: str
    by_hand: bool


play = Table(
    "practice_play",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("started_on", Date, nullable=False),  # day 0 of the programme's file
    Column("played_to", t.UtcDateTime, nullable=False),  # everything up to here has happened
    Column("seconds_ahead", Integer, nullable=False),  # of the clock on the wall
    Column("secret", Text, nullable=False),  # signs the forms of this practice clinic
)

part = Table(
    "practice_part",
    metadata,
    Column("family_key", Text, primary_key=True),
    Column("child_id", ForeignKey(t.child.c.id, ondelete="CASCADE"), nullable=False),
    Column("by_hand", Boolean, nullable=False),  # somebody answers for this family: its script is silent
)


def is_practice_file(path: Path) -> bool:
    """Whether this file is the database of a practice clinic. It is only read, and left as it was."""
    with path.open("rb") as file:
        if file.read(16) != b"SQLite format 3\x00":
            return False
    with closing(sqlite3.connect(f"file:{quote(str(path.resolve()))}?mode=ro", uri=True)) as connection:
        found = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'practice_play'")
        return found.fetchone() is not None


def prepare(store: Store) -> None:
    """Make the tables of the play; nothing to do is fine."""
    with store.begin() as connection:
        metadata.create_all(connection, tables=[play, part])


def begin(connection: Connection, started_on: date, played_to: datetime, secret: str) -> None:
    connection.execute(
        insert(play).values(id=1, started_on=started_on, played_to=played_to, seconds_ahead=0, secret=secret)
    )


def state(connection: Connection) -> Any:
    """The row of `play`; None before the first day."""
    return connection.execute(select(play)).one_or_none()


def set_played_to(connection: Connection, moment: datetime) -> None:
    connection.execute(update(play).values(played_to=moment))


def set_seconds_ahead(connection: Connection, seconds: int) -> None:
    connection.execute(update(play).values(seconds_ahead=seconds))


def join(connection: Connection, family_key: str, child_id: int) -> None:
    """This family of the programme is that child, and its script answers for it."""
    connection.execute(insert(part).values(family_key=family_key, child_id=child_id, by_hand=False))


def take_over(connection: Connection, child_id: int) -> None:
    """From now on somebody answers for this family by hand."""
    connection.execute(update(part).where(part.c.child_id == child_id).values(by_hand=True))


def put_back_claims(connection: Connection, owner: str) -> None:
    """Give up what a practice sender that was killed had claimed. Only on a phone that is a screen: what a real
    network was handed may have been sent, and stays in doubt."""
    connection.execute(
        update(t.outbox)
        .where(t.outbox.c.state == "sending", t.outbox.c.owner == owner)
        .values(state="queued", owner=None, lease_until=None, attempt=t.outbox.c.attempt - 1)
    )


def parts(connection: Connection) -> dict[int, Part]:
    """Who plays whom, by child id."""
    return {row.child_id: Part(row.family_key, row.by_hand) for row in connection.execute(select(part))}
