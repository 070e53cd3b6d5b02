"""Writing down what happened in a course: only what can have happened, and never over what was written before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from bracewatch.review import Case
from bracewatch.schedule.facts import MAX_MONTHS_AHEAD, MAY_LIE_AHEAD, UNPLANNED, Fact, FactKind, contradictions
from bracewatch.schedule.plausible import after_the_end, decided_too_early
from bracewatch.schedule.spans import add_months
from bracewatch.services.waking import plan_changed
from bracewatch.store import Store, cases
from bracewatch.store import tables as t
from bracewatch.store.courses import FACT_COLUMNS, fact_of

ABOUT_A_VISIT = frozenset(
    {
        FactKind.VISIT_KEPT,
        FactKind.VISIT_BOOKED,
        FactKind.VISIT_HELD,
        FactKind.VISIT_CANCELLED,
        FactKind.VISIT_RELEASED,
    }
)
WHILE_BRACED = frozenset({FactKind.PAUSED, FactKind.RESUMED, FactKind.LENGTHENED})
ABOUT_A_GATE = frozenset({FactKind.GATE_OPENED, FactKind.GATE_HELD, FactKind.GATE_TAKEN_BACK})


class FactRefused(ValueError):
    """It cannot have happened like this. `faults` says what contradicts what, one sentence each."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(self.faults))


def record(
    store: Store,
    child_id: int,
    kind: FactKind,
    on: date,
    now: datetime,
    *,
    about: str = "",
    until: date | None = None,
    note: str = "",
) -> None:
    """Write one fact down in the child's present course and have the child reviewed.

    `about` is the visit's key, the gate, or why; `until` belongs to a held gate and to lengthened bracing.
    Raises FactRefused, and leaves everything as it was, for what contradicts what is known, lies ahead of
    today though it has not happened yet, or is about a visit or gate that the child's plan does not have.
    """
    with store.begin() as connection:
        write(connection, present_case(connection, child_id, now), kind, on, now, about=about, until=until, note=note)


def write(
    connection: Connection,
    case: Case,
    kind: FactKind,
    on: date,
    now: datetime,
    *,
    about: str = "",
    until: date | None = None,
    note: str = "",
) -> None:
    """As `record`, inside a transaction that is open already."""
    faults = [
        *_faults_of_day(case, kind, on, now),
        *_faults_of_subject(case, kind, on, about),
        *_contradictions(connection, case, kind, on, about, until),
    ]
    if faults:
        raise FactRefused(faults)
    connection.execute(
        insert(t.course_fact).values(
            course_id=case.course_id, kind=kind, on_day=on, about=about, until_day=until, note=note, recorded_at=now
        )
    )
    plan_changed(connection, case.child_id, now)


def present_case(connection: Connection, child_id: int, now: datetime) -> Case:
    """The child's case in its present course. Raises FactRefused when there is none."""
    found = cases.load(connection, [child_id], now)
    if not found:
        raise FactRefused([f"there is no child {child_id} with a bracing course"])
    return found[0]


def _faults_of_day(case: Case, kind: FactKind, on: date, now: datetime) -> list[str]:
    today = case.clinic_day(now)
    if on > today and kind not in MAY_LIE_AHEAD:
        return [f"{on} is ahead of today, {today}: write down what has happened, on the day it happened"]
    if on > add_months(today, MAX_MONTHS_AHEAD):
        return [f"{on} is more than a year ahead"]
    return []


def _faults_of_subject(case: Case, kind: FactKind, on: date, about: str) -> list[str]:
    if kind in ABOUT_A_VISIT and not (kind is FactKind.VISIT_KEPT and about == UNPLANNED):
        if about not in {visit.key for visit in case.timeline.visits}:
            return [f"this child's plan has no visit {about!r}"]
    elif kind in ABOUT_A_GATE:
        gates = {phase.gate for phase in case.timeline.phases if phase.gate}
        if about not in gates:
            return [f"this child's plan has no decision {about!r}: there is {', '.join(sorted(gates)) or 'none'}"]
        if kind is FactKind.GATE_OPENED and (fault := decided_too_early(case.timeline, about, on)):
            return [fault]
    elif kind in WHILE_BRACED and (fault := after_the_end(case.timeline, Fact(0, kind, on))):
        return [fault]
    return []


def _contradictions(
    connection: Connection, case: Case, kind: FactKind, on: date, about: str, until: date | None
) -> list[str]:
    """What the new fact contradicts; what was contradictory before it is not its fault."""
    rows: Sequence[Any] = connection.execute(
        select(*FACT_COLUMNS).where(t.course_fact.c.course_id == case.course_id)
    ).fetchall()
    known = [fact_of(row) for row in rows]
    start = connection.execute(select(t.course.c.brace_start).where(t.course.c.id == case.course_id)).scalar_one()
    new = Fact(max((fact.number for fact in known), default=0) + 1, kind, on, about, until)
    before = set(contradictions(start, known))
    return [fault for fault in contradictions(start, [*known, new]) if fault not in before]
