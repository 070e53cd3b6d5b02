"""Visits: kept, planned or not; booked, moved, cancelled; and the decision that is made at one of them."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Connection

from bracewatch.review import Case
from bracewatch.schedule.facts import UNPLANNED, FactKind
from bracewatch.schedule.timeline import Visit
from bracewatch.services.facts import FactRefused, present_case, write
from bracewatch.store import Store
from bracewatch.store.courses import is_full


class VisitRefused(ValueError):
    """The visit cannot be written down like this; the message says why and what to do."""


def record_kept(
    store: Store, child_id: int, visit_key: str, on: date, now: datetime, *, opens_gate: bool = False, note: str = ""
) -> None:
    """The child came on that day. With `opens_gate` the clinic also made the decision this visit is for.

    A corrected day takes the decision along. Recording the same visit and day again changes nothing. Raises
    VisitRefused for a visit that is not in the child's plan, a day ahead of today, before the brace start or
    before the visit's window opens (that is an unplanned visit, or another one), and a decision that this visit
    does not make.
    """
    with store.begin() as connection:
        case, visit = _find(connection, child_id, visit_key, now)
        if on > (today := case.clinic_day(now)):
            raise VisitRefused(f"the visit cannot have been kept on {on}: today is {today}")
        if opens_gate and visit.decides is None:
            raise VisitRefused(f"nothing is decided at the visit “{visit.name}”")
        if case.timeline.phases[0].start <= on < visit.opens:
            raise VisitRefused(
                f"the visit “{visit.name}” counts from {visit.opens} on: record {on} as a visit without a booking"
            )
        decided = visit.decides is not None and visit.kept is not None and _is_open(case, visit.decides, visit.kept)
        if visit.kept != on:
            _write(connection, case, FactKind.VISIT_KEPT, on, visit.key, note, now)
        if visit.decides is not None and (opens_gate or decided) and not _is_open(case, visit.decides, on):
            _write(connection, case, FactKind.GATE_OPENED, on, visit.decides, note, now)


def record_unplanned(store: Store, child_id: int, on: date, now: datetime, *, note: str = "") -> None:
    """The child came without a booking. It counts as the planned visit whose window the day falls in, if any."""
    with store.begin() as connection:
        _write(connection, _case(connection, child_id, now), FactKind.VISIT_KEPT, on, UNPLANNED, note, now)


def hold_gate(store: Store, child_id: int, gate: str, on: date, until: date, now: datetime, *, note: str = "") -> None:
    """The clinic decided against the step for now: the hours stay at least until `until`."""
    with store.begin() as connection:
        _write(connection, _case(connection, child_id, now), FactKind.GATE_HELD, on, gate, note, now, until=until)


def take_decision_back(store: Store, child_id: int, gate: str, now: datetime, *, note: str = "") -> None:
    """The step was ticked by mistake: the hours before it are in force again, until it is decided anew.

    Raises VisitRefused when nothing was decided.
    """
    with store.begin() as connection:
        case = _case(connection, child_id, now)
        opened = [phase for phase in case.timeline.phases if phase.gate == gate and phase.gate_open]
        if not opened:
            raise VisitRefused(f"nothing has been decided about {gate!r}: there is nothing to take back")
        _write(connection, case, FactKind.GATE_TAKEN_BACK, case.clinic_day(now), gate, note, now)


def move(store: Store, child_id: int, visit_key: str, to: date, now: datetime, *, note: str = "") -> None:
    """Give a visit another day, also one that was cancelled. The family is reminded of the new one.

    Raises VisitRefused for a visit that is not in the plan or was kept, and for a day that is past, fully booked or
    more than a year ahead. A day on which the clinic is closed is taken, and flagged.
    """
    with store.begin() as connection:
        case, visit = _find(connection, child_id, visit_key, now)
        _refuse_kept(visit, "moved")
        if to < (today := case.clinic_day(now)):
            raise VisitRefused(f"{to} is no day for a visit: choose one from {today} to a year ahead")
        if to != visit.on and is_full(connection, case.clinic_id, to):
            raise VisitRefused(f"{to} is fully booked: choose another day")
        _write(connection, case, FactKind.VISIT_BOOKED, to, visit.key, note, now)


def cancel(store: Store, child_id: int, visit_key: str, now: datetime, *, note: str = "") -> None:
    """The visit will not take place: nobody is reminded of it, and nobody has missed it.

    Raises VisitRefused for a visit that is not in the plan or was kept.
    """
    with store.begin() as connection:
        case, visit = _find(connection, child_id, visit_key, now)
        _refuse_kept(visit, "cancelled")
        _write(connection, case, FactKind.VISIT_CANCELLED, case.clinic_day(now), visit.key, note, now)


def _case(connection: Connection, child_id: int, now: datetime) -> Case:
    try:
        return present_case(connection, child_id, now)
    except FactRefused as refusal:
        raise VisitRefused(str(refusal)) from refusal


def _find(connection: Connection, child_id: int, visit_key: str, now: datetime) -> tuple[Case, Visit]:
    case = _case(connection, child_id, now)
    for visit in case.timeline.visits:
        if visit.key == visit_key:
            return case, visit
    raise VisitRefused(f"this child's plan has no visit {visit_key!r}")


def _refuse_kept(visit: Visit, done: str) -> None:
    if visit.kept is not None:
        raise VisitRefused(f"the visit “{visit.name}” was kept on {visit.kept}: it cannot be {done}")


def _is_open(case: Case, gate: str, on: date) -> bool:
    """Whether the gate was opened on that day already."""
    return any(phase.gate == gate and phase.gate_open and phase.end == on for phase in case.timeline.phases)


def _write(
    connection: Connection,
    case: Case,
    kind: FactKind,
    on: date,
    about: str,
    note: str,
    now: datetime,
    until: date | None = None,
) -> None:
    try:
        write(connection, case, kind, on, now, about=about, until=until, note=note)
    except FactRefused as refusal:
        raise VisitRefused(str(refusal)) from refusal
