"""Putting a message into the outbox: worded, counted, and once for each moment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, select

from bracewatch.messages import segments, wording
from bracewatch.messages.kinds import Kind
from bracewatch.review.contact import BY_NIGHT_TOO, UNASKED
from bracewatch.services.approved import approved_wordings
from bracewatch.store import tables as t
from bracewatch.store.upsert import insert_if_new

URGENT, ANSWER, OF_OURSELVES = 1, 2, 5  # what goes out first


def priority_of(kind: Kind) -> int:
    """The lower goes out first: what to do about a sore foot and that we heard "stop", then the other answers to
    what a caregiver wrote, then what nobody asked for."""
    if kind in BY_NIGHT_TOO:
        return URGENT
    return OF_OURSELVES if kind in UNASKED else ANSWER


@dataclass(frozen=True, slots=True)
class Addressee:
    """Whom a message goes to, the clinic that signs it, and the wordings it has approved in that language."""

    child_id: int
    caregiver_id: int
    phone: str
    language: str
    clinic_name: str
    clinic_phone: str
    wordings: Mapping[Kind, str]


_ADDRESSEES = (
    select(
        t.caregiver.c.id,
        t.caregiver.c.child_id,
        t.caregiver.c.phone,
        t.caregiver.c.language,
        t.child.c.clinic_id,
        t.clinic.c.name,
        t.clinic.c.phone.label("clinic_phone"),
    )
    .join(t.child, t.child.c.id == t.caregiver.c.child_id)
    .join(t.clinic, t.clinic.c.id == t.child.c.clinic_id)
    .where(t.caregiver.c.id.in_(bindparam("ids", expanding=True)))
)


def addressees(connection: Connection, caregiver_ids: Iterable[int]) -> dict[int, Addressee]:
    """Those caregivers with their clinics, by id."""
    ids = sorted(set(caregiver_ids))
    if not ids:
        return {}
    rows = connection.execute(_ADDRESSEES, {"ids": ids}).fetchall()
    approved = approved_wordings(connection, {row.clinic_id for row in rows}, {row.language for row in rows})
    return {
        row.id: Addressee(
            row.child_id,
            row.id,
            row.phone,
            row.language,
            row.name,
            row.clinic_phone,
            approved.get((row.clinic_id, row.language), {}),
        )
        for row in rows
    }


def queue(
    connection: Connection,
    to: Addressee,
    *,
    key: str,
    kind: Kind,
    due_at: datetime,
    useful_until: datetime,
    now: datetime,
    facts: Mapping[str, date] | None = None,
) -> bool:
    """Put a message into the outbox; False when its moment is there already, or its text is a draft, and nothing
    was written. Once the text is approved, the review or `inbox.answer_late` asks again."""
    template = to.wordings.get(kind)
    if template is None:
        return False
    known: dict[str, str | date] = {"clinic": to.clinic_name, "phone": to.clinic_phone, **(facts or {})}
    needed = {name: known[name] for name in wording.needed_facts(kind)}
    body = wording.word(kind, language=to.language, wording=template, **needed)
    row_id = insert_if_new(
        connection,
        t.outbox,
        "key",
        key=key,
        child_id=to.child_id,
        caregiver_id=to.caregiver_id,
        kind=kind,
        asks=wording.asks(kind),
        language=to.language,
        phone=to.phone,
        body=body,
        parts=segments.measure(body).parts,
        due_at=due_at,
        useful_until=useful_until,
        priority=priority_of(kind),
        state="queued",
        created_at=now,
    )
    return row_id is not None
