import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind, faults_in
from bracewatch.schedule.timeline import Timeline, build

BORN, START = date(2026, 1, 10), date(2026, 3, 1)
TUESDAYS = ClinicCalendar(frozenset({1}))
NIGHTS_TO_FOUR = protocol.shipped("nights-to-four")


def with_facts(*facts: Fact, as_of: date | None = None) -> Timeline:
    return build(NIGHTS_TO_FOUR, Course(BORN, START, facts), TUESDAYS, as_of)


def test_a_kept_visit_is_shown_on_its_visit_and_moves_nothing_else() -> None:
    kept = with_facts(Fact(1, FactKind.VISIT_KEPT, date(2026, 3, 18), "first-fit"))
    plain = with_facts()
    assert kept.visits[0].kept == date(2026, 3, 18)
    assert kept.visits[1:] == plain.visits[1:]
    assert kept.phases == plain.phases


def test_a_moved_visit_has_its_new_day_and_says_so() -> None:
    moved = with_facts(Fact(1, FactKind.VISIT_BOOKED, date(2026, 3, 20), "first-fit")).visits[0]
    assert (moved.on, moved.booked) == (date(2026, 3, 20), True)
    assert with_facts().visits[0].booked is False


def test_the_later_word_on_a_visit_counts_in_whatever_order_they_come() -> None:
    first = Fact(1, FactKind.VISIT_BOOKED, date(2026, 3, 20), "first-fit")
    second = Fact(2, FactKind.VISIT_BOOKED, date(2026, 3, 19), "first-fit")
    assert with_facts(first, second) == with_facts(second, first)
    assert with_facts(first, second).visits[0].on == date(2026, 3, 19)


def test_full_time_goes_on_while_nobody_has_decided_and_is_drawn_to_tomorrow() -> None:
    today = date(2026, 7, 1)
    timeline = with_facts(as_of=today)
    assert timeline.phases[0].end == today + timedelta(days=1)
    assert timeline.in_force(today) == timeline.phases[0]
    assert timeline.phases[0].gate_open is False


def test_the_decision_ends_full_time_on_its_day() -> None:
    decided = with_facts(Fact(1, FactKind.GATE_OPENED, date(2026, 6, 9), "step-down"), as_of=date(2026, 7, 1))
    assert [(phase.key, phase.start) for phase in decided.phases] == [
        ("full-time", START),
        ("nights-and-naps", date(2026, 6, 9)),
    ]


def test_later_steps_are_counted_from_the_day_of_the_decision() -> None:
    graded = protocol.shipped("graded-step-down")
    course = Course(BORN, START, (Fact(1, FactKind.GATE_OPENED, date(2026, 6, 30), "step-down"),))
    starts = [phase.start for phase in build(graded, course, TUESDAYS).phases]
    assert starts[1:4] == [date(2026, 6, 30), date(2026, 7, 30), date(2026, 8, 30)]


def test_a_course_that_ended_in_relapse_stops_on_that_day() -> None:
    ended = with_facts(Fact(1, FactKind.ENDED, date(2026, 5, 5), "relapse"))
    assert ended.ends_on == ended.phases[-1].end == date(2026, 5, 5)
    assert ended.in_force(date(2026, 5, 5)) is None
    assert all(visit.due < date(2026, 5, 5) for visit in ended.visits)


def test_a_course_that_the_clinic_ended_is_followed_up_all_the_same() -> None:
    ended = with_facts(Fact(1, FactKind.ENDED, date(2029, 12, 1), "clinic"))
    assert ended.ends_on == date(2029, 12, 1)
    assert any(visit.key.startswith("after-bracing") for visit in ended.visits)


def test_the_last_decision_on_a_gate_counts_by_its_day_not_by_when_it_was_written_down() -> None:
    held = Fact(2, FactKind.GATE_HELD, date(2026, 5, 25), "step-down", date(2026, 6, 5))
    opened = Fact(1, FactKind.GATE_OPENED, date(2026, 6, 9), "step-down")
    assert with_facts(opened, held).phases[1].start == date(2026, 6, 9)
    taken_back = Fact(3, FactKind.GATE_HELD, date(2026, 6, 9), "step-down", date(2026, 6, 10))
    assert with_facts(opened, held, taken_back).phases[0].gate_open is False


def test_a_decision_after_age_four_leaves_no_night_phase() -> None:
    late = with_facts(Fact(1, FactKind.GATE_OPENED, date(2030, 3, 1), "step-down"))
    assert [phase.key for phase in late.phases] == ["full-time"]
    assert late.ends_on == date(2030, 3, 1)


FACTS = st.lists(
    st.builds(
        Fact,
        st.integers(1, 1000),
        st.just(FactKind.VISIT_KEPT) | st.just(FactKind.VISIT_BOOKED) | st.just(FactKind.GATE_OPENED),
        st.dates(START, date(2031, 1, 1)),
        st.sampled_from(["first-fit", "step-down", "every-four-months-1"]),
    ),
    max_size=8,
    unique_by=lambda fact: fact.number,
)
CASES = st.tuples(
    st.sampled_from(["nights-to-four", "graded-step-down", "sleep-to-five"]),
    st.dates(date(2018, 1, 1), date(2026, 1, 1)),
    st.integers(0, 3 * 365),
    st.none() | st.dates(date(2018, 1, 1), date(2032, 1, 1)),
)


@given(CASES, FACTS, st.randoms())
def test_phases_have_no_gap_or_overlap_and_hours_hold_every_day(
    case: tuple[str, date, int, date | None], facts: list[Fact], shuffler: object
) -> None:
    protocol_id, born, age_days, as_of = case
    start = born + timedelta(days=age_days)
    course = Course(born, start, tuple(facts))
    timeline = build(protocol.shipped(protocol_id), course, TUESDAYS, as_of)
    shuffled = list(facts)
    shuffler.shuffle(shuffled)  # type: ignore[attr-defined]
    assert build(protocol.shipped(protocol_id), Course(born, start, tuple(shuffled)), TUESDAYS, as_of) == timeline

    edges = [(phase.start, phase.end) for phase in timeline.phases]
    assert edges[0][0] == start or any(fact.kind is FactKind.GATE_OPENED for fact in facts)
    assert all(begins < ends for begins, ends in edges)
    assert all(one[1] == two[0] for one, two in itertools.pairwise(edges))
    assert timeline.ends_on == edges[-1][1]
    for day in (edges[0][0], timeline.ends_on - timedelta(days=1)):
        assert timeline.in_force(day) is not None
    assert timeline.in_force(timeline.ends_on) is None
    assert timeline.in_force(edges[0][0] - timedelta(days=1)) is None


@given(CASES)
def test_no_chosen_day_lies_outside_its_window(case: tuple[str, date, int, date | None]) -> None:
    protocol_id, born, age_days, as_of = case
    start = born + timedelta(days=age_days)
    for visit in build(protocol.shipped(protocol_id), Course(born, start), TUESDAYS, as_of).visits:
        assert visit.on is None or visit.opens <= visit.on <= visit.closes


@pytest.mark.parametrize(
    ("born", "start", "said"),
    [
        (date(2026, 5, 1), date(2026, 4, 1), "before birth"),
        (date(2026, 5, 1), date(2028, 4, 1), "more than a year ahead"),
        (date(2027, 1, 1), date(2027, 2, 1), "in the future"),
        (date(1990, 1, 1), date(2026, 2, 1), "18 years"),
    ],
)
def test_impossible_dates_are_named(born: date, start: date, said: str) -> None:
    assert any(said in fault for fault in faults_in(born, start, today=date(2026, 11, 25)))


def test_possible_dates_have_no_faults() -> None:
    assert faults_in(BORN, START, today=date(2026, 11, 25)) == []


def test_a_decision_before_the_brace_start_is_named() -> None:
    fact = Fact(1, FactKind.GATE_OPENED, date(2026, 2, 1), "step-down")
    assert "before the brace start" in faults_in(BORN, START, date(2026, 11, 25), [fact])[0]
