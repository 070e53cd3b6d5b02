"""Boots: what was fitted, when the next size is due, and what each clinic will need."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from bracewatch.schedule.boots import (
    BootSettings,
    ChildInBoots,
    Fitting,
    Outlook,
    SizeDue,
    boots_needed,
    european_size,
    next_size_due,
)
from bracewatch.services.facts import FactRefused, present_case
from bracewatch.store import Store, cases
from bracewatch.store import tables as t

SIDES = ("left", "right")
STANDARD = BootSettings()


def record_fitting(
    store: Store,
    child_id: int,
    side: str,
    measured_on: date,
    now: datetime,
    *,
    length_mm: float | None = None,
    size: float | None = None,
    settings: BootSettings = STANDARD,
) -> float:
    """Write a measured foot or an issued boot down; the European size that counts from then on.

    Without `size` it is worked out from the length. Raises FactRefused, with everything that is wrong, for an
    unknown child or side, a day ahead, a length that no child's foot has, or neither length nor size.
    """
    with store.begin() as connection:
        case = present_case(connection, child_id, now)
        faults = [] if side in SIDES else [f"side {side!r}: use left or right"]
        if measured_on > case.clinic_day(now):
            faults.append(f"{measured_on} is ahead of today, {case.clinic_day(now)}")
        if length_mm is None and size is None:
            faults.append("give the length of the foot, the size of the boot, or both")
        if length_mm is not None:
            try:
                by_length = european_size(length_mm, settings.allowance_mm)
            except ValueError as error:
                faults.append(str(error))
        if faults:
            raise FactRefused(faults)
        counted = size if size is not None else by_length
        born = connection.execute(select(t.child.c.born).where(t.child.c.id == child_id)).scalar_one()
        try:
            next_size_due(born, Fitting(measured_on, counted, length_mm), settings)
        except ValueError as error:  # what cannot be now would spoil every figure of the clinic later
            raise FactRefused([str(error)]) from error
        connection.execute(
            insert(t.foot_fitting).values(
                child_id=child_id,
                side=side,
                measured_on=measured_on,
                length_mm=length_mm,
                size=counted,
                recorded_at=now,
            )
        )
    return counted


def due(store: Store, child_id: int, now: datetime, settings: BootSettings = STANDARD) -> dict[str, SizeDue]:
    """When the next size is due, by side; sides without a fitting are left out."""
    with store.read() as connection:
        child = _children(connection, [child_id], now)
    return {
        side: next_size_due(one.born, fitting, settings)
        for one in child
        for side, fitting in (("left", one.left), ("right", one.right))
        if fitting is not None
    }


def needed(store: Store, now: datetime, settings: BootSettings = STANDARD) -> Outlook:
    """How many boots of which size each clinic will need in the coming three and six months, with the spread.

    None for children whose bracing has ended by then.
    """
    with store.read() as connection:
        ids = list(connection.execute(select(t.child.c.id).order_by(t.child.c.id)).scalars())
        return boots_needed(_children(connection, ids, now), now.date(), settings)


def _children(connection: Connection, ids: list[int], now: datetime) -> list[ChildInBoots]:
    query = select(t.child.c.id, t.child.c.born, t.clinic.c.key).join(t.clinic).where(t.child.c.id.in_(ids))
    fittings = select(t.foot_fitting).where(t.foot_fitting.c.child_id.in_(ids))
    last: dict[tuple[int, str], Fitting] = {}
    row: Any
    for row in connection.execute(fittings.order_by(t.foot_fitting.c.measured_on, t.foot_fitting.c.id)):
        last[row.child_id, row.side] = Fitting(row.measured_on, row.size, row.length_mm)
    ends = {case.child_id: case.timeline.ends_on for case in cases.load(connection, ids, now)}
    return [
        ChildInBoots(row.key, row.born, last.get((row.id, "left")), last.get((row.id, "right")), ends[row.id])
        for row in connection.execute(query.order_by(t.child.c.id))
    ]
