"""The calendar file, read back by icalendar, which knows RFC 5545."""

import itertools
from datetime import UTC, date, datetime, timedelta

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.exchange.calendar_file import calendar_file
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.timeline import Timeline, build

BORN, START = date(2026, 7, 1), date(2026, 9, 1)
STAMP = datetime(2026, 11, 25, 9, tzinfo=UTC)
TUESDAYS = ClinicCalendar(frozenset({1}))


def timeline(*facts: tuple[FactKind, date, str], clinic: ClinicCalendar = TUESDAYS) -> Timeline:
    numbered = tuple(Fact(number, *fact) for number, fact in enumerate(facts, 1))
    return build(protocol.shipped("nights-to-four"), Course(BORN, START, numbered), clinic)


def events(drawn: Timeline, course: str = "a course") -> list[icalendar.Event]:
    calendar = icalendar.Calendar.from_ical(calendar_file(drawn, course, STAMP))
    assert not calendar.errors
    return list(calendar.walk("VEVENT"))


def visits(drawn: Timeline) -> list[icalendar.Event]:
    return [event for event in events(drawn) if str(event["SUMMARY"]).startswith("Clinic: ")]


def phases(drawn: Timeline) -> list[icalendar.Event]:
    return [event for event in events(drawn) if not str(event["SUMMARY"]).startswith("Clinic: ")]


FACTS = st.lists(
    st.tuples(
        st.sampled_from([FactKind.VISIT_KEPT, FactKind.VISIT_BOOKED, FactKind.VISIT_CANCELLED]),
        st.dates(START, date(2031, 1, 1)),
        st.sampled_from(["first-fit", "step-down", "every-four-months-1"]),
    ),
    max_size=6,
)
WEEKS = st.frozensets(st.integers(0, 6), min_size=1)


@given(FACTS, WEEKS, st.sets(st.dates(START, date(2027, 1, 1)), max_size=60))
def test_every_visit_with_a_day_is_there_once_on_that_day(
    facts: list[tuple[FactKind, date, str]], weekdays: frozenset[int], closed: set[date]
) -> None:
    drawn = timeline(*facts, clinic=ClinicCalendar(weekdays, closed=dict.fromkeys(closed, "closed")))
    expected = [
        (f"Clinic: {visit.name}", visit.kept or visit.on or visit.due, visit.cancelled and not visit.kept)
        for visit in drawn.visits
        if visit.kept or visit.on is not None or visit.cancelled
    ]
    found = [
        (str(event["SUMMARY"]), event["DTSTART"].dt, str(event["STATUS"]) == "CANCELLED") for event in visits(drawn)
    ]
    assert found == expected
    identifiers = [str(event["UID"]) for event in events(drawn)]
    assert len(set(identifiers)) == len(identifiers)


def test_phases_are_spans_of_whole_days_without_gap_that_block_no_time() -> None:
    drawn = timeline((FactKind.PAUSED, date(2026, 10, 1), "skin"), (FactKind.RESUMED, date(2026, 10, 9), ""))
    spans = [(event["DTSTART"].dt, event["DTEND"].dt) for event in phases(drawn)]
    assert spans == [(phase.start, phase.end) for phase in drawn.phases]
    assert len(spans) == 4
    assert all(one[1] == two[0] for one, two in itertools.pairwise(spans))
    assert [str(event["SUMMARY"]) for event in phases(drawn)][1] == "Brace paused"


def test_a_visit_lasts_one_day_and_blocks_it() -> None:
    for event in visits(timeline()):
        assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(days=1)
        assert event["TRANSP"] == "OPAQUE"


def test_booked_and_kept_visits_are_confirmed_and_planned_ones_are_not() -> None:
    drawn = timeline(
        (FactKind.VISIT_KEPT, date(2026, 9, 16), "first-fit"), (FactKind.VISIT_BOOKED, date(2026, 12, 2), "step-down")
    )
    assert [str(event["STATUS"]) for event in visits(drawn)][:3] == ["CONFIRMED", "CONFIRMED", "TENTATIVE"]


def test_a_cancelled_visit_takes_the_place_of_the_planned_one_as_cancelled_and_blocks_nothing() -> None:
    # RFC 5545, 3.8.1.11 (STATUS) and 3.8.7.4 (SEQUENCE).
    cancelled = visits(timeline((FactKind.VISIT_CANCELLED, date(2026, 9, 10), "first-fit")))
    planned = visits(timeline())
    assert [str(event["UID"]) for event in cancelled] == [str(event["UID"]) for event in planned]
    assert (str(cancelled[0]["STATUS"]), str(cancelled[0]["TRANSP"])) == ("CANCELLED", "TRANSPARENT")
    assert str(cancelled[1]["STATUS"]) == "TENTATIVE"


def test_a_later_file_has_the_higher_sequence() -> None:
    def sequence(stamp: datetime) -> int:
        calendar = icalendar.Calendar.from_ical(calendar_file(timeline(), "a course", stamp))
        return int(calendar.walk("VEVENT")[0]["SEQUENCE"])

    assert sequence(STAMP + timedelta(minutes=1)) == sequence(STAMP) + 1 > 0


def test_a_visit_without_an_open_day_is_left_out() -> None:
    closed = {date(2026, 9, 1) + timedelta(days=number): "closed" for number in range(30)}
    assert len(visits(timeline(clinic=ClinicCalendar(closed=closed)))) == len(visits(timeline())) - 1


def test_a_visit_that_moves_and_a_phase_that_ends_later_keep_their_identifiers() -> None:
    moved = timeline(
        (FactKind.VISIT_BOOKED, date(2026, 9, 20), "first-fit"), (FactKind.GATE_OPENED, date(2026, 12, 20), "step-down")
    )
    before, after = ([str(event["UID"]) for event in events(drawn)] for drawn in (timeline(), moved))
    assert before == after


def test_two_courses_share_no_identifier() -> None:
    one, other = ({str(event["UID"]) for event in events(timeline(), course)} for course in ("one", "other"))
    assert not one & other


def test_the_same_course_gives_the_same_bytes_and_a_naive_moment_is_refused() -> None:
    assert calendar_file(timeline(), "a", STAMP) == calendar_file(timeline(), "a", STAMP)
    with pytest.raises(ValueError, match="aware"):
        calendar_file(timeline(), "a", STAMP.replace(tzinfo=None))


def test_lines_end_and_fold_as_the_standard_asks() -> None:
    # Source: RFC 5545, section 3.1: CRLF after each line, none longer than 75 octets; 3.6: PRODID and VERSION. READ
    lines = calendar_file(timeline(), "a", STAMP).split(b"\r\n")
    assert lines[-1] == b""
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert b"VERSION:2.0" in lines
    assert any(line.startswith(b"PRODID:") for line in lines)
    assert lines.count(b"DTSTAMP:20261125T090000Z") == lines.count(b"BEGIN:VEVENT")


def test_what_only_an_older_plan_has_is_called_off_and_what_both_have_is_not() -> None:
    # RFC 5545, 3.8.1.11 (STATUS): an event that is no longer held is CANCELLED; 3.8.7.4: with a higher SEQUENCE.
    ended = timeline((FactKind.ENDED, date(2026, 10, 20), "relapse"))
    planned = timeline()
    calendar = icalendar.Calendar.from_ical(calendar_file(ended, "a course", STAMP, [planned]))
    found = {str(event["UID"]): event for event in calendar.walk("VEVENT")}
    assert set(found) == {str(event["UID"]) for event in events(planned)}
    called_off = {uid for uid, event in found.items() if str(event.get("STATUS")) == "CANCELLED"}
    assert called_off == set(found) - {str(event["UID"]) for event in events(ended)}
    assert {str(found[uid]["TRANSP"]) for uid in called_off} == {"TRANSPARENT"}
    assert any(str(found[uid]["SUMMARY"]) == "Brace: Nights and naps" for uid in called_off)
    assert all(str(event["STATUS"]) != "CANCELLED" for event in visits(ended))


def test_a_visit_that_was_kept_is_called_off_by_no_newer_plan() -> None:
    kept = timeline((FactKind.VISIT_KEPT, date(2026, 10, 20), ""))
    calendar = icalendar.Calendar.from_ical(calendar_file(timeline(), "a course", STAMP, [kept]))
    assert all(str(event.get("STATUS")) != "CANCELLED" for event in calendar.walk("VEVENT"))


def test_an_older_plan_that_is_the_same_changes_nothing() -> None:
    assert calendar_file(timeline(), "a", STAMP, [timeline()]) == calendar_file(timeline(), "a", STAMP)
