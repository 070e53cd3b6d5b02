"""A course in words and in drawings, beside the timeline it is made from."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.review import Caregiver, Case
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.timeline import build
from bracewatch.wear.reports import WearKind, WearReport
from bracewatch.web.course import VisitState, hours_in_words, next_visit, phase_in_short, visit_lines
from bracewatch.web.drawings import WEAR_DAYS, draw_timeline, draw_wear, recent_wear

BORN, START = date(2026, 1, 10), date(2026, 3, 2)


def case_on(
    today: date,
    *facts: Fact,
    reports: tuple[WearReport, ...] = (),
    rules: str = protocol.DEFAULT,
    enrolled: date = START,
) -> Case:
    return Case(
        child_id=1,
        course_id=1,
        clinic_id=1,
        protocol=protocol.shipped(rules),
        timeline=build(protocol.shipped(rules), Course(BORN, START, facts), ClinicCalendar(), as_of=today),
        clinic_zone="UTC",
        enrolled_on=enrolled,
        caregiver=Caregiver(1, "en", "UTC", time(18), datetime(2026, 3, 2, tzinfo=UTC), None),
        reports=reports,
    )


def kept(key: str, on: date, number: int = 1) -> Fact:
    return Fact(number, FactKind.VISIT_KEPT, on, key)


def stepped_down(on: date, number: int = 2) -> Fact:
    return Fact(number, FactKind.GATE_OPENED, on, "step-down")


def report(kind: WearKind, day: date, low: float, high: float | None = None) -> WearReport:
    return WearReport(kind, day, low, low if high is None else high, datetime.combine(day, time(18), UTC))


def states(case: Case, today: date) -> dict[str, VisitState]:
    return {line.visit.key: line.state for line in visit_lines(case, today)}


@pytest.mark.parametrize(
    ("today", "said"),
    [
        (date(2026, 3, 1), "Brace starts 2 Mar 2026"),
        (date(2026, 3, 2), "Full time, day 1"),
        (date(2026, 6, 2), "Full time, day 93"),
        (date(2026, 6, 3), "Full time, day 94, step down not decided"),
    ],
)
def test_full_time_is_counted_in_days_until_the_clinic_decides(today: date, said: str) -> None:
    assert phase_in_short(case_on(today).timeline, today) == said


def test_nights_are_counted_in_months() -> None:
    today = date(2026, 8, 2)
    case = case_on(today, stepped_down(date(2026, 6, 2)))
    assert phase_in_short(case.timeline, today) == "Nights and naps, month 3"
    assert hours_in_words(case.timeline, today) == "12 to 14 hours a day (nights and naps), until 10 Jan 2030."


def test_after_the_end_no_hours_are_prescribed() -> None:
    today = date(2030, 2, 1)
    case = case_on(today, stepped_down(date(2026, 6, 2)))
    assert hours_in_words(case.timeline, today) == "Bracing ended 10 Jan 2030: no hours are prescribed today."


def test_a_visit_is_planned_then_late_then_missed() -> None:
    """Due 16 March, counts until 23 March, one day of grace."""
    moments = [date(2026, 3, 10), date(2026, 3, 17), date(2026, 3, 18), date(2026, 3, 23), date(2026, 3, 24)]
    said = [states(case_on(today), today)["first-fit"] for today in moments]
    assert said == [VisitState.PLANNED, VisitState.PLANNED, VisitState.LATE, VisitState.LATE, VisitState.MISSED]


def test_a_visit_that_was_kept_is_kept_whenever_it_is_looked_at() -> None:
    today = date(2026, 3, 30)
    assert states(case_on(today, kept("first-fit", date(2026, 3, 20))), today)["first-fit"] is VisitState.KEPT


def test_a_visit_before_enrolment_is_nobodys_miss() -> None:
    today = date(2026, 7, 1)
    case = case_on(today, enrolled=date(2026, 6, 20))
    assert states(case, today)["first-fit"] is VisitState.NOT_OURS
    assert not visit_lines(case, today)[0].may_be_moved


def test_the_decision_is_offered_until_it_is_made() -> None:
    today = date(2026, 6, 2)
    before = {line.visit.key: line.decision for line in visit_lines(case_on(today), today)}
    after = {line.visit.key: line.decision for line in visit_lines(case_on(today, stepped_down(today)), today)}
    assert before["step-down"] == "step down to nights and naps (12 to 14 hours)"
    assert [key for key, decision in before.items() if decision] == ["step-down"]
    assert not any(after.values())


def test_the_next_visit_is_the_first_that_lies_ahead() -> None:
    today = date(2026, 3, 17)
    visit = next_visit(case_on(today).timeline, today)
    assert visit is not None
    assert visit.key == "step-down"
    grown = date(2042, 2, 1)
    assert next_visit(case_on(grown).timeline, grown) is None


@pytest.mark.parametrize("rules", ["nights-to-four", "graded-step-down"])
@given(days=st.integers(min_value=-40, max_value=2000))
def test_everything_drawn_lies_inside_the_picture(rules: str, days: int) -> None:
    today = START + timedelta(days=days)
    case = case_on(today, rules=rules)
    picture = draw_timeline(case, visit_lines(case, today), BORN, today)
    assert len(picture.bands) == len(case.timeline.phases)
    in_the_course = [visit for visit in case.timeline.visits if visit.due <= case.timeline.ends_on]
    assert len(in_the_course) <= len(picture.marks) < len(case.timeline.visits)
    for band in picture.bands:
        assert 0 <= band.x <= band.x + band.width <= 100
    places = [mark.x for mark in picture.marks]
    assert all(0 <= place <= 100 for place in places)
    last = max(case.timeline.ends_on, *(line.day for line in visit_lines(case, today)))
    assert (picture.today is None) == (days < 0 or today > last)


def test_a_picture_of_wear_needs_a_day_of_wear() -> None:
    assert draw_wear(case_on(START), [], START) is None


def test_one_report_leaves_every_other_day_unknown() -> None:
    today = START + timedelta(days=10)
    case = case_on(today, reports=(report(WearKind.HOURS, START + timedelta(days=4), 11.5),))
    picture = draw_wear(case, recent_wear(case, today), today)
    assert picture is not None
    assert (picture.known_days, picture.days) == (1, 10)
    assert [(gap.x, gap.width) for gap in picture.unknown] == [(0, 40), (50, 50)]
    (mark,) = picture.marks
    assert (mark.x, mark.width, mark.low, mark.high, mark.under, mark.label) == (40, 10, 0.5, 0.5, True, "11.5")


def test_a_report_of_nights_covers_the_seven_days_up_to_it() -> None:
    today = date(2026, 8, 31)
    case = case_on(today, stepped_down(date(2026, 6, 2)), reports=(report(WearKind.NIGHTS, date(2026, 8, 30), 5, 6),))
    picture = draw_wear(case, recent_wear(case, today), today)
    assert picture is not None
    assert (picture.known_days, picture.days) == (7, WEAR_DAYS)
    (mark,) = picture.marks
    assert (mark.low, mark.high, mark.under) == (pytest.approx(5 / 7), pytest.approx(6 / 7), False)


def test_reports_older_than_eight_weeks_are_left_out() -> None:
    today = START + timedelta(days=80)
    case = case_on(today, reports=(report(WearKind.HOURS, today - timedelta(days=WEAR_DAYS + 1), 20),))
    assert recent_wear(case, today) == []


@given(
    st.lists(st.tuples(st.integers(0, 99), st.floats(0, 24)), max_size=20),
    st.integers(min_value=1, max_value=100),
)
def test_known_and_unknown_days_fill_the_picture(given_reports: list[tuple[int, float]], days: int) -> None:
    today = START + timedelta(days=days)
    reports = tuple(report(WearKind.HOURS, START + timedelta(days=day), hours) for day, hours in given_reports)
    case = case_on(today, reports=reports)
    picture = draw_wear(case, recent_wear(case, today), today)
    assert picture is not None
    unknown = sum(gap.width for gap in picture.unknown)
    assert unknown == pytest.approx(100 * (picture.days - picture.known_days) / picture.days, abs=0.5)
    assert all(0 <= mark.low <= mark.high <= 1 for mark in picture.marks)
