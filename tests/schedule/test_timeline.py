import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind, faults_in
from bracewatch.schedule.timeline import NO_LONGER_PLANNED, Timeline, build, moved

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


def keys_from(timeline: Timeline, day: date) -> list[tuple[str, date]]:
    return [(visit.key, visit.due) for visit in timeline.visits if visit.due >= day]


def test_a_course_that_the_clinic_ended_is_followed_up_from_that_day_and_asked_to_nothing_else() -> None:
    ended = with_facts(Fact(1, FactKind.ENDED, date(2028, 12, 1), "clinic"))
    assert ended.ends_on == date(2028, 12, 1)
    ahead = keys_from(ended, date(2028, 12, 1))
    assert ahead[:2] == [("after-bracing-1", date(2029, 12, 1)), ("after-bracing-2", date(2030, 12, 1))]
    assert {key.rpartition("-")[0] for key, _ in ahead} == {"after-bracing"}
    before = [visit for visit in with_facts().visits if (visit.on or visit.due) < date(2028, 12, 1)]
    assert [visit for visit in ended.visits if visit.due < date(2028, 12, 1)] == before


def test_a_visit_kept_before_its_due_day_stays_when_the_clinic_ended_bracing_at_it() -> None:
    early = Fact(1, FactKind.VISIT_KEPT, date(2029, 12, 20), "end-of-bracing")
    ended = with_facts(early, Fact(2, FactKind.ENDED, date(2029, 12, 20), "clinic"))
    assert [visit.kept for visit in ended.visits if visit.key == "end-of-bracing"] == [date(2029, 12, 20)]
    assert keys_from(ended, date(2030, 1, 11))[0] == ("after-bracing-1", date(2030, 12, 20))


class TestLengthened:
    END = date(2030, 1, 10)  # the fourth birthday

    def test_the_visit_at_the_end_the_rows_and_the_follow_up_move_with_the_end(self) -> None:
        longer = with_facts(Fact(1, FactKind.LENGTHENED, date(2029, 6, 1), "", date(2031, 1, 10)))
        ahead = keys_from(longer, date(2029, 9, 1))
        assert ("end-of-bracing", date(2031, 1, 10)) in ahead
        assert ("after-bracing-1", date(2032, 1, 10)) in ahead
        assert [key for key, _ in ahead].count("end-of-bracing") == 1
        within = [due for key, due in ahead if key.startswith("every-six-months") and due > self.END]
        assert within == [date(2030, 4, 1), date(2030, 10, 1)]  # every six months, as before the fourth birthday

    def test_a_visit_at_the_end_that_had_begun_stays_and_the_new_end_has_one_of_its_own(self) -> None:
        kept = Fact(1, FactKind.VISIT_KEPT, date(2030, 1, 15), "end-of-bracing")
        longer = with_facts(kept, Fact(2, FactKind.LENGTHENED, date(2030, 1, 15), "", date(2031, 7, 1)))
        visits = {visit.key: visit for visit in longer.visits}
        assert (visits["end-of-bracing"].due, visits["end-of-bracing"].kept) == (self.END, date(2030, 1, 15))
        assert (visits["end-of-bracing-2"].due, visits["end-of-bracing-2"].kept) == (date(2031, 7, 1), None)

    def test_no_visit_appears_that_was_not_planned_while_its_day_was_ahead(self) -> None:
        plain = [visit.key for visit in with_facts().visits if visit.due < self.END]
        longer = with_facts(Fact(1, FactKind.LENGTHENED, date(2030, 1, 15), "", date(2031, 7, 1)))
        assert [visit.key for visit in longer.visits if visit.due < self.END] == plain

    def test_the_last_decision_counts_by_its_day(self) -> None:
        later = Fact(1, FactKind.LENGTHENED, date(2029, 8, 1), "", date(2031, 1, 1))
        typed_late = Fact(2, FactKind.LENGTHENED, date(2029, 6, 1), "", date(2032, 1, 1))
        assert with_facts(later, typed_late).ends_on == date(2031, 1, 1)


def test_a_start_after_four_is_followed_up_from_its_own_end() -> None:
    graded = protocol.shipped("graded-step-down")
    late = build(graded, Course(BORN, date(2031, 3, 1)), TUESDAYS)
    assert late.ends_on == date(2033, 3, 1)
    dues = [visit.due for visit in late.visits]
    assert dues == sorted(dues)
    assert [v.due for v in late.visits if v.key in ("end-of-bracing", "after-bracing-1")] == [
        date(2033, 3, 1),
        date(2034, 3, 1),
    ]


def test_waiting_for_a_decision_past_the_end_moves_no_visit() -> None:
    on_one_day, on_the_next = (with_facts(as_of=date(2030, 6, day)) for day in (1, 2))
    assert on_one_day.ends_on == date(2030, 6, 2)
    assert on_one_day.visits == on_the_next.visits == with_facts().visits


def test_a_day_that_was_given_up_is_chosen_again() -> None:
    booked = Fact(1, FactKind.VISIT_BOOKED, date(2026, 3, 20), "first-fit")
    released = Fact(2, FactKind.VISIT_RELEASED, date(2026, 3, 20), "first-fit")
    assert with_facts(booked, released).visits == with_facts().visits
    again = Fact(3, FactKind.VISIT_BOOKED, date(2026, 3, 20), "first-fit")
    assert with_facts(booked, released, again).visits[0].on == date(2026, 3, 20)


def test_a_kept_visit_that_the_plan_no_longer_has_is_shown_as_it_was() -> None:
    gone = Fact(1, FactKind.VISIT_KEPT, date(2029, 3, 1), "every-four-months-30")
    shown = [visit for visit in with_facts(gone).visits if visit.kept is not None]
    assert [(visit.name, visit.kept) for visit in shown] == [(NO_LONGER_PLANNED, date(2029, 3, 1))]
    assert not [visit for visit in with_facts().visits if visit.name == NO_LONGER_PLANNED]


def test_a_day_that_was_held_counts_only_while_it_is_in_the_window() -> None:
    held = Fact(1, FactKind.VISIT_HELD, date(2030, 1, 15), "end-of-bracing")
    lengthened = Fact(2, FactKind.LENGTHENED, date(2029, 11, 1), "", date(2031, 1, 10))
    assert next(v for v in with_facts(held).visits if v.key == "end-of-bracing").on == date(2030, 1, 15)
    moved_on = next(v for v in with_facts(held, lengthened).visits if v.key == "end-of-bracing")
    assert (moved_on.due, moved_on.on, moved_on.booked) == (date(2031, 1, 10), date(2031, 1, 7), False)


def test_a_held_day_on_which_the_clinic_is_closed_says_so_and_a_chosen_weekday_is_meant() -> None:
    closed = ClinicCalendar(frozenset({1}), closed={date(2026, 3, 17): "flood"})

    def shut(kind: FactKind, day: date) -> str:
        return build(NIGHTS_TO_FOUR, Course(BORN, START, (Fact(1, kind, day, "first-fit"),)), closed).visits[0].shut

    assert shut(FactKind.VISIT_HELD, date(2026, 3, 17)) == "closed: flood"
    assert shut(FactKind.VISIT_BOOKED, date(2026, 3, 17)) == "closed: flood"
    assert shut(FactKind.VISIT_BOOKED, date(2026, 3, 18)) == ""
    assert shut(FactKind.VISIT_HELD, date(2026, 3, 18)) == "Wednesday is no clinic day"


def test_a_phase_that_lasts_counts_from_the_end_of_one_that_goes_to_an_age() -> None:
    weaning = """
[[variant.phase]]
key = "weaning"
name = "Weaning"
hours = [6, 8]
lasts = "P6M"
asks = "nights"
check_in = "P14D"
source = ["clinic"]

[[variant.visit]]"""
    rules = protocol.parse(NIGHTS_TO_FOUR.text.replace("\n[[variant.visit]]", weaning, 1), "weaning")
    weaned = build(rules, Course(BORN, START), TUESDAYS)
    assert (weaned.phases[-1].key, weaned.phases[-1].start, weaned.ends_on) == (
        "weaning",
        date(2030, 1, 10),
        date(2030, 7, 10),
    )


class TestAMoveToAnotherProtocol:
    """From nights-to-four to sleep-to-five, whose visits after the step-down are due on other days."""

    DAY = date(2027, 2, 1)

    def moved(self, *facts: Fact) -> Timeline:
        course = Course(BORN, START, facts)
        return moved(with_facts(*facts), protocol.shipped("sleep-to-five"), course, TUESDAYS, self.DAY)

    def test_a_visit_kept_after_it_has_the_new_plans_day_and_window(self) -> None:
        plain = {visit.key: visit for visit in self.moved().visits}["every-four-months-4"]
        kept = Fact(1, FactKind.VISIT_KEPT, plain.due, "every-four-months-4")
        visits = {visit.key: visit for visit in self.moved(kept).visits}
        assert visits["every-four-months-4"] == plain._replace(kept=plain.due)

    def test_a_visit_kept_before_it_stays_as_it_was(self) -> None:
        old = {visit.key: visit for visit in with_facts().visits}["every-four-months-1"]
        kept = Fact(1, FactKind.VISIT_KEPT, old.due, "every-four-months-1")
        visits = {visit.key: visit for visit in self.moved(kept).visits}
        assert visits["every-four-months-1"] == old._replace(kept=old.due)

    def test_an_unplanned_visit_is_there_once(self) -> None:
        kept = [Fact(1, FactKind.VISIT_KEPT, date(2026, 4, 20)), Fact(2, FactKind.VISIT_KEPT, date(2027, 4, 28))]
        came = [visit.kept for visit in self.moved(*kept).visits if visit.kept is not None]
        assert came == [date(2026, 4, 20), date(2027, 4, 28)]


def test_the_later_word_corrects_the_day_of_a_step_and_a_step_taken_back_was_never_made() -> None:
    opened = Fact(1, FactKind.GATE_OPENED, date(2026, 6, 9), "step-down")
    corrected = Fact(2, FactKind.GATE_OPENED, date(2026, 6, 2), "step-down")
    assert with_facts(opened, corrected).phases[1].start == date(2026, 6, 2)
    taken_back = Fact(3, FactKind.GATE_TAKEN_BACK, date(2026, 6, 9), "step-down")
    assert with_facts(opened, corrected, taken_back).phases[0].gate_open is False
    again = Fact(4, FactKind.GATE_OPENED, date(2026, 6, 2), "step-down")
    assert with_facts(opened, corrected, taken_back, again).phases[1].start == date(2026, 6, 2)


def test_an_end_that_was_taken_back_is_none_and_a_later_word_corrects_its_day() -> None:
    ended = Fact(1, FactKind.ENDED, date(2028, 5, 5), "clinic")
    assert with_facts(ended, Fact(2, FactKind.END_TAKEN_BACK, date(2028, 5, 6))) == with_facts()
    assert with_facts(ended, Fact(2, FactKind.ENDED, date(2028, 6, 5), "clinic")).ends_on == date(2028, 6, 5)


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

    def test_an_undecided_full_time_ends_with_the_move(self) -> None:
        before = with_facts(as_of=date(2026, 7, 1))
        course = Course(BORN, START)
        after = moved(before, protocol.shipped("sleep-to-five"), course, TUESDAYS, date(2026, 7, 2), date(2026, 7, 1))
        assert after.phases[0].gate_open is True
        held = after.in_force(date(2027, 7, 1))
        assert held is not None
        assert held.key == "sleep"

    def test_rows_that_are_numbered_alike_keep_their_visits_apart(self) -> None:
        monthly, half_yearly = (
            protocol.parse(
                NIGHTS_TO_FOUR.text.replace('key = "every-four-months"', 'key = "follow-up"', 1).replace(
                    'every = "P4M"', f'every = "{every}"', 1
                ),
                every,
            )
            for every in ("P1M", "P6M")
        )
        kept = Fact(1, FactKind.VISIT_KEPT, date(2026, 9, 2), "follow-up-3")
        later = Fact(2, FactKind.VISIT_KEPT, date(2028, 6, 1), "follow-up-3.2")
        day, course = date(2027, 3, 15), Course(BORN, START, (kept, later))
        after = moved(build(monthly, course, TUESDAYS), half_yearly, course, TUESDAYS, day)
        shown = {visit.key: (visit.due, visit.kept) for visit in after.visits}
        assert shown["follow-up-3"] == (date(2026, 9, 1), date(2026, 9, 2))
        assert shown["follow-up-3.2"] == (date(2027, 12, 1), date(2028, 6, 1))
        plain = build(half_yearly, Course(BORN, START), TUESDAYS)
        ahead = [visit.due for visit in plain.visits if (visit.on or visit.due) >= day]
        assert [visit.due for visit in after.visits if (visit.on or visit.due) >= day] == ahead
