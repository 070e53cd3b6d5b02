"""What the clinics have said about their texts: the last word on each, and who waits for one."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, func, select

from bracewatch.store import tables as t


@dataclass(frozen=True, slots=True)
class Said:
    """The last word of a clinic on one text. An empty `wording`: its approval was withdrawn. `own`: not the shipped
    wording but the clinic's."""

    clinic_id: int
    language: str
    kind: str
    wording: str
    own: bool
    by: str
    at: datetime


_x = t.clinic_text.c
_LAST = select(t.clinic_text).where(
    _x.id.in_(
        select(func.max(_x.id))
        .where(
            _x.clinic_id.in_(bindparam("ids", expanding=True)),
            _x.language.in_(bindparam("languages", expanding=True)),
        )
        .group_by(_x.clinic_id, _x.language, _x.kind)
    )
)
_READING = (
    select(t.child.c.clinic_id, t.caregiver.c.language, func.count(t.child.c.id.distinct()).label("families"))
    .join(t.caregiver, t.caregiver.c.child_id == t.child.c.id)
    .where(t.caregiver.c.agreed_at.is_not(None), t.caregiver.c.stopped_at.is_(None))
    .group_by(t.child.c.clinic_id, t.caregiver.c.language)
)


def last_said(connection: Connection, clinic_ids: Collection[int], languages: Collection[str]) -> list[Said]:
    """The last word of those clinics on every text in those languages that anything was said about, in no order."""
    return [
        Said(row.clinic_id, row.language, row.kind, row.wording, row.own, row.approved_by, row.approved_at)
        for row in connection.execute(_LAST, {"ids": sorted(clinic_ids), "languages": sorted(languages)})
    ]


def families_reading(connection: Connection) -> dict[tuple[int, str], int]:
    """How many families may be written to, by clinic and language."""
    return {(row.clinic_id, row.language): row.families for row in connection.execute(_READING)}
