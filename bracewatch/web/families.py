"""What the list of families and the page of one family show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection

from bracewatch.review import Case
from bracewatch.review.call_list import Standing
from bracewatch.review.flags.low_wear import Weighed
from bracewatch.schedule.local_time import local_day
from bracewatch.schedule.timeline import Visit
from bracewatch.store import cases, pages, traffic
from bracewatch.store.traffic import Handed
from bracewatch.web.cards import addressed, in_card_order, still_open
from bracewatch.web.course import VisitLine, hours_in_words, next_visit, phase_in_short, visit_lines
from bracewatch.web.drawings import TimelinePicture, WearPicture, draw_timeline, draw_wear, recent_wear

FAMILIES_A_PAGE = 50
NEXT_VISITS = 2


@dataclass(frozen=True, slots=True)
class FamilyRow:
    """A family in the list. `next_visit` and `last_heard` are None where there is none."""

    family: pages.Family
    today: date
    phase: str
    next_visit: Visit | None
    last_heard: datetime | None
    flags: Sequence[Standing]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a visit's form was refused, and what had been entered in it. `form` is "kept" or "moved"."""

    form: str
    visit_key: str
    typed: str
    decided: bool
    message: str


@dataclass(frozen=True, slots=True)
class FamilyPage:
    """One family, with all that its page shows."""

    family: pages.Family
    person: pages.Person
    case: Case
    today: date
    phase: str
    hours: str
    timeline: TimelinePicture
    visits: Sequence[VisitLine]
    wear: WearPicture | None
    reports: Sequence[Weighed]
    standing: Sequence[Standing]
    cleared: Sequence[pages.FlagLine]
    calls: Sequence[pages.Called]
    thread: Sequence[pages.Sent | pages.Reply]
    handed: Handed
    earlier_lines: bool
    open_reply_ids: frozenset[int]
    feet: pages.Feet

    @property
    def near_visits(self) -> Sequence[VisitLine]:
        """The visits behind us and the next two."""
        return [line for line in self.visits if line not in self.far_visits]

    @property
    def far_visits(self) -> Sequence[VisitLine]:
        """The visits after the next two."""
        return [line for line in self.visits if line.visit.kept is None and line.day >= self.today][NEXT_VISITS:]

    @property
    def visit_keys(self) -> frozenset[str]:
        return frozenset(line.visit.key for line in self.visits)


def family_rows(connection: Connection, child_ids: Sequence[int], now: datetime) -> list[FamilyRow]:
    """Those families as the list shows them, in the order given."""
    families = pages.families(connection, child_ids)
    by_id = {case.child_id: case for case in cases.load(connection, child_ids, now)}
    heard = pages.last_heard(connection, child_ids)
    flags = pages.standing_flags(connection, child_ids)
    rows = []
    for child_id in child_ids:
        if (family := families.get(child_id)) is None or (case := by_id.get(child_id)) is None:
            continue
        today = local_day(now, family.clinic.zone)
        rows.append(
            FamilyRow(
                family=family,
                today=today,
                phase=phase_in_short(case.timeline, today),
                next_visit=next_visit(case.timeline, today),
                last_heard=heard.get(child_id),
                flags=in_card_order(flags.get(child_id, ())),
            )
        )
    return rows


def family_page(connection: Connection, child_id: int, now: datetime, lines: int | None) -> FamilyPage | None:
    """Everything about one family, with its latest `lines` messages (None: all); None when there is none."""
    family = pages.families(connection, [child_id]).get(child_id)
    case = next(iter(cases.load(connection, [child_id], now)), None)
    if family is None or case is None:
        return None
    today = local_day(now, family.clinic.zone)
    flags = pages.flags_of(connection, child_id)
    reports = recent_wear(case, today)
    visits = visit_lines(case, today)
    waiting = still_open(pages.for_a_person(connection, [child_id]).get(child_id, []), case)
    thread = pages.thread(connection, child_id, latest=lines)
    return FamilyPage(
        family=family,
        person=addressed(family, case),
        case=case,
        today=today,
        phase=phase_in_short(case.timeline, today),
        hours=hours_in_words(case.timeline, today),
        timeline=draw_timeline(case, visits, family.born, today),
        visits=visits,
        wear=draw_wear(case, reports, today),
        reports=reports,
        standing=in_card_order(line.standing for line in flags if line.cleared_at is None),
        cleared=[line for line in flags if line.cleared_at is not None],
        calls=pages.calls_of(connection, child_id),
        thread=thread,
        handed=traffic.handed_to(connection, child_id),
        earlier_lines=lines is not None and len(thread) == lines,
        open_reply_ids=frozenset(reply.id for reply in waiting),
        feet=pages.feet(connection, case.course_id),
    )
