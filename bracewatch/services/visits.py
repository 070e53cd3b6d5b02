"""Visits: kept, moved; and the decision that is made at one of them."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Connection, insert

from bracewatch.review import Case
from bracewatch.schedule.facts import MAX_MONTHS_AHEAD, FactKind
from bracewatch.schedule.spans import add_months
from bracewatch.schedule.timeline import Visit
from bracewatch.services.waking import wake
from bracewatch.store import Store, cases
from bracewatch.store import tables as t


class VisitRefused(ValueError):
    """The visit cannot be written down like this; the message says why and what to do."""


def record_kept(
    store: Store, child_id: int, visit_key: str, on: date, now: datetime, *, opens_gate: bool = False, note: str = ""
) -> None:
    """The child came on that day. With `opens_gate` the clinic also made the decision this visit is for.

    Raises VisitRefused for a visit that is not in the child's plan, a day before the brace start or ahead of
    today, and a decision that this visit does not make. Recording the same visit and day again changes nothing.
    """
    with store.begin() as connection:
        case, visit = _find(connection, child_id, visit_key, now)
        today = case.clinic_day(now)
        if on > today:
            raise VisitRefused(f"the visit cannot have been kept on {on}: today is {today}")
        if on < case.timeline.phases[0].start:
            raise VisitRefused(f"{on} is before the brace start {case.timeline.phases[0].start}")
        if opens_gate and visit.decides is None:
            raise VisitRefused(f"nothing is decided at the visit “{visit.name}”")
        if visit.kept != on:
            _write(connection, case, FactKind.VISIT_KEPT, on, visit.key, note, now)
        if opens_gate and visit.decides is not None:
            _write(connection, case, FactKind.GATE_OPENED, on, visit.decides, note, now)
        wake(connection, child_id, now)


def move(store: Store, child_id: int, visit_key: str, to: date, now: datetime, *, note: str = "") -> None:
    """Give a visit another day. The family is reminded of the new one.

    Raises VisitRefused for a visit that is not in the plan or was kept, and for a day that is past or more
    than a year ahead.
    """
    with store.begin() as connection:
        case, visit = _find(connection, child_id, visit_key, now)
        today = case.clinic_day(now)
        if visit.kept is not None:
            raise VisitRefused(f"the visit “{visit.name}” was kept on {visit.kept}: it cannot be moved")
        if not today <= to <= add_months(today, MAX_MONTHS_AHEAD):
            raise VisitRefused(f"{to} is no day for a visit: choose one from {today} to a year ahead")
        _write(connection, case, FactKind.VISIT_BOOKED, to, visit.key, note, now)
        wake(connection, child_id, now)


def _find(connection: Connection, child_id: int, visit_key: str, now: datetime) -> tuple[Case, Visit]:
    for case in cases.load(connection, [child_id], now):
        for visit in case.timeline.visits:
            if visit.key == visit_key:
                return case, visit
        raise VisitRefused(f"this child's plan has no visit {visit_key!r}")
    raise VisitRefused(f"there is no child {child_id} with a bracing course")


def _write(connection: Connection, case: Case, kind: FactKind, on: date, about: str, note: str, now: datetime) -> None:
    connection.execute(
        insert(t.course_fact).values(
            course_id=case.course_id, kind=kind, on_day=on, about=about, note=note, recorded_at=now
        )
    )
