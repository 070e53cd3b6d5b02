"""Fetching the replies that came while nobody listened: the network keeps them in its list."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Protocol

from sqlalchemy import exists, insert, literal, or_, select, update

from bracewatch.services import inbox
from bracewatch.store import Store
from bracewatch.store import tables as t

# Looked at twice, because the list may show a reply late and its clock is not ours; each is taken in once.
OVERLAP = timedelta(days=1)
EVERY = timedelta(minutes=5)


class Listed(Protocol):
    """A reply as the network lists it: its name there, the number it came from, its text, and when it came."""

    @property
    def sid(self) -> str: ...
    @property
    def phone(self) -> str: ...
    @property
    def body(self) -> str: ...
    @property
    def received_at(self) -> datetime: ...


def is_due(store: Store, channel: str, now: datetime) -> bool:
    """Whether replies have not been fetched for a while."""
    with store.read() as connection:
        until = connection.execute(select(_n.replies_until).where(_n.channel == channel)).scalar_one_or_none()
    return until is None or until <= now - EVERY


def catch_up(store: Store, channel: str, heard: Callable[[datetime], Iterable[Listed]], now: datetime) -> int:
    """Take in what came over `channel` since it was last asked, in order of arrival; how many replies were new.

    `heard` lists everything that came in since a moment; of the time before the first look, one day is fetched.
    Whatever it raises comes through, and the next look begins where this one did. Running it twice, or beside
    the hooks, takes nothing in twice.
    """
    with store.read() as connection:
        until = connection.execute(select(_n.replies_until).where(_n.channel == channel)).scalar_one_or_none()
    replies = sorted(heard((until or now) - OVERLAP), key=lambda reply: (reply.received_at, reply.sid))
    new = 0
    for reply in replies:
        at = min(reply.received_at, now)  # the network's clock may be ahead of ours
        taken = inbox.receive(store, sid=reply.sid, phone=reply.phone, body=reply.body, received_at=at)
        new += taken is not None
    _note(store, channel, now)
    return new


def _note(store: Store, channel: str, now: datetime) -> None:
    """Replies have been fetched up to now."""
    known = exists().where(_n.channel == channel)
    with store.begin() as connection:
        connection.execute(insert(t.network).from_select(["channel"], select(literal(channel)).where(~known)))
        connection.execute(
            update(t.network)
            .where(_n.channel == channel, or_(_n.replies_until.is_(None), _n.replies_until < now))
            .values(replies_until=now)
        )


_n = t.network.c
