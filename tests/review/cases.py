"""Builds a case from a few words, for the tables of rules and the tests of the review."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.review import Call, Caregiver, Case, Heard, Question, Written
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, parse_weekdays
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.local_time import local_day
from bracewatch.schedule.timeline import build
from bracewatch.wear.reports import WearKind, WearReport

ZONE = "Africa/Nairobi"  # three hours ahead, no summer time
BORN, START = date(2026, 7, 1), date(2026, 9, 1)
AGREED = datetime(2026, 9, 1, 9, tzinfo=UTC)


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def case_from(now: datetime, **given: Any) -> Case:
    """A typical child, brace start 1 September 2026, tuesday clinic. `given` as in the tables beside the tests."""
    rules = protocol.shipped(given.get("protocol", protocol.DEFAULT))
    start = date.fromisoformat(given.get("brace_start", START.isoformat()))
    facts = [(FactKind.VISIT_KEPT, key, day) for key, day in given.get("kept", [])]
    facts += [(FactKind.VISIT_BOOKED, key, day) for key, day in given.get("moved", [])]
    facts += [(FactKind.VISIT_CANCELLED, key, day) for key, day in given.get("cancelled", [])]
    facts += [(FactKind.PAUSED, "skin", day) for day in given.get("paused", [])]
    facts += [(FactKind.GATE_OPENED, "step-down", day) for day in given.get("decided", [])]
    held = [
        Fact(100, FactKind.GATE_HELD, date.fromisoformat(on), "step-down", date.fromisoformat(until))
        for on, until in given.get("held", [])
    ]
    course = Course(
        date.fromisoformat(given.get("born", BORN.isoformat())),
        start,
        (*(Fact(n, kind, date.fromisoformat(day), about) for n, (kind, about, day) in enumerate(facts)), *held),
    )
    agreed = moment(given["agreed"]) if "agreed" in given else AGREED
    stopped = moment(given["stopped"]) if "stopped" in given else None
    return Case(
        child_id=1,
        course_id=7,
        clinic_id=3,
        protocol=rules,
        timeline=build(rules, course, _calendar(given.get("closed")), as_of=local_day(now, ZONE)),
        clinic_zone=ZONE,
        enrolled_on=date.fromisoformat(given.get("enrolled", start.isoformat())),
        caregiver=_caregiver(5, agreed, stopped, given.get("number_fails")),
        reports=tuple(
            [_report(WearKind.HOURS, *row) for row in given.get("hours", [])]
            + [_report(WearKind.NIGHTS, *row) for row in given.get("nights", [])]
        ),
        questions=tuple(Question(Asked(asked), moment(at)) for at, asked in given.get("asked", [])),
        written=tuple(Written(key, moment(at), counts) for key, at, counts in given.get("written", [])),
        heard=tuple(_heard(row) for row in given.get("heard", [])),
        calls=tuple(Call(moment(at), spoke) for at, spoke in given.get("calls", [])),
        passed_over=tuple(_caregiver(4, agreed, None, failure) for failure in given.get("passed_over", [])),
    )


def _caregiver(number: int, agreed: datetime, stopped: datetime | None, failure: list[str] | None) -> Caregiver:
    """`failure`: since when the number fails, and the network's code."""
    since, code = (moment(failure[0]), failure[1]) if failure else (None, None)
    return Caregiver(number, "en", ZONE, time(18), agreed, stopped, None, since, code)


def _calendar(closed: list[str] | None) -> ClinicCalendar:
    """Tuesdays, less the days from one date to another where `closed` gives them."""
    if closed is None:
        return ClinicCalendar(parse_weekdays("tue"))
    first, last = (date.fromisoformat(day) for day in closed)
    days = {first + timedelta(days=n): "flood" for n in range((last - first).days + 1)}
    return ClinicCalendar(parse_weekdays("tue"), days)


def _report(kind: WearKind, day: str, figure: float, heard_at: str | None = None) -> WearReport:
    heard = moment(heard_at) if heard_at else datetime.combine(date.fromisoformat(day), time(20), UTC)
    return WearReport(kind, date.fromisoformat(day), figure, figure, heard)


def _heard(row: dict[str, Any]) -> Heard:
    return Heard(
        moment(row["at"]),
        row.get("body", "…"),
        Meaning(row["meaning"]),
        row.get("about"),
        Next(row.get("next", "keep")),
        moment(row["handled"]) if "handled" in row else None,
    )
