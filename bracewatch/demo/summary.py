"""What the practice clinic looks like after its play, in figures and the first calls."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import Connection, func, select

from bracewatch.messages.kinds import Kind
from bracewatch.review.call_list import Card, Standing, by_urgency, in_order
from bracewatch.review.flag import Urgency
from bracewatch.review.flags import TITLES
from bracewatch.schedule.boots import Spread
from bracewatch.services import boots
from bracewatch.store import Store
from bracewatch.store import tables as t

FIRST_CALLS = 10


def lines(store: Store, now: datetime) -> Iterator[str]:
    """The summary, line by line: families, messages by kind, replies by meaning, flags by kind, boots needed,
    first calls."""
    with store.read() as connection:
        families = connection.execute(select(func.count()).select_from(t.child)).scalar_one()
        clinics = connection.execute(select(func.count()).select_from(t.clinic)).scalar_one()
        yield f"Practice clinic on {now:%d %b %Y, %H:%M} UTC: {families} families, {clinics} clinics"
        sent = _counts(connection, t.outbox.c.kind, t.outbox.c.state == "sent")
        yield from _table("Messages sent", [(kind.value.replace("_", " "), sent.get(kind, 0)) for kind in Kind])
        failed = _counts(connection, t.outbox.c.state, t.outbox.c.state != "sent")
        yield from _table("Messages not sent", sorted(failed.items()))
        replies = _counts(connection, t.inbound.c.meaning)
        yield from _table("Replies", sorted(replies.items(), key=lambda item: -item[1]))
        flags = _counts(connection, t.flag.c.code, t.flag.c.cleared_at.is_(None))
        yield from _table("Flags standing", [(title, flags[code]) for code, title in TITLES.items() if code in flags])
    yield from _boots(store, now)
    with store.read() as connection:
        yield "First calls"
        yield from _first_calls(connection)


def _boots(store: Store, now: datetime) -> Iterator[str]:
    """Single boots of each size that each clinic will need, left and right together."""
    outlook = boots.needed(store, now)
    yield "Boots needed, as size: number (if all feet grow slowly to if all grow fast)"
    for feet in outlook.clinics:
        yield f"  {feet.clinic}: {feet.feet} feet counted, {feet.no_fitting} not measured yet"
        needs = [need for need in outlook.needs if need.clinic == feet.clinic]
        for words, within in (("in three months", "in_3_months"), ("in six months", "in_6_months")):
            sizes: dict[float, list[int]] = {}
            for need in needs:
                spread: Spread = getattr(need, within)
                row = sizes.setdefault(need.size, [0, 0, 0])
                row[:] = row[0] + spread.low, row[1] + spread.expected, row[2] + spread.high
            shown = [f"{size:g}: {mid} ({low}-{high})" for size, (low, mid, high) in sizes.items() if high]
            yield from textwrap.wrap(
                f"{words} {', '.join(shown)}", 80, initial_indent="    ", subsequent_indent="      "
            )


def _counts(connection: Connection, column: object, *conditions: object) -> dict[str, int]:
    query = select(column, func.count()).where(*conditions).group_by(column)  # type: ignore[call-overload]
    return {row[0]: row[1] for row in connection.execute(query)}


def _table(title: str, rows: list[tuple[str, int]]) -> Iterator[str]:
    rows = [row for row in rows if row[1]]
    yield f"{title}: {sum(count for _, count in rows)}"
    yield from (f"  {count:>6}  {name}" for name, count in rows)


def _first_calls(connection: Connection) -> Iterator[str]:
    standing: dict[int, list[Standing]] = {}
    for row in connection.execute(select(t.flag).where(t.flag.c.cleared_at.is_(None))):
        flag = Standing(row.code, Urgency(row.urgency), row.sentence, tuple(row.evidence), row.since)
        standing.setdefault(row.child_id, []).append(flag)
    names = {
        row.id: row
        for row in connection.execute(
            select(t.child.c.id, t.child.c.name, t.caregiver.c.name.label("caregiver"), t.caregiver.c.phone).join(
                t.caregiver
            )
        )
    }
    cards = in_order(Card(child_id, by_urgency(flags), None) for child_id, flags in standing.items())
    for place, card in enumerate(cards[:FIRST_CALLS], 1):
        family = names[card.child_id]
        yield f"  {place:>2}. {family.name}, {family.caregiver}, {family.phone} ({card.urgency.words})"
        yield from (f"        {flag.sentence}" for flag in card.flags)
