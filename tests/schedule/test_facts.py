"""What cannot have happened: every sentence, and beside it the nearest case that is fine."""

from datetime import date, timedelta
from itertools import permutations

import pytest
from histories import History, histories
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule.facts import Fact, FactKind, contradictions, faults_in

BORN = date(2026, 1, 10)
START = date(2026, 3, 2)
TODAY = date(2026, 11, 25)

OPENED, HELD = FactKind.GATE_OPENED, FactKind.GATE_HELD
PAUSED, RESUMED = FactKind.PAUSED, FactKind.RESUMED
LENGTHENED, ENDED = FactKind.LENGTHENED, FactKind.ENDED
KEPT = FactKind.VISIT_KEPT
TAKEN_BACK = FactKind.GATE_TAKEN_BACK
VISITS = [kind for kind in FactKind if kind.value.startswith("visit_")]
ABOUT = {
    OPENED: "step-down",
    HELD: "step-down",
    PAUSED: "skin",
    ENDED: "relapse",
    TAKEN_BACK: "step-down",
} | dict.fromkeys(VISITS, "first-fit")


def on(day: int) -> date:
    """A day of the course; 0 is the brace start."""
    return START + timedelta(day)


def facts(*told: tuple[FactKind, int] | tuple[FactKind, int, int]) -> list[Fact]:
    """What happened, on which day of the course and until which; numbered as they are told."""
    made = []
    for number, (kind, day, *until) in enumerate(told, 1):
        last = on(until[0]) if until else None
        made.append(Fact(number, kind, on(day), ABOUT.get(kind, ""), last))
    return made


def said_of(*told: tuple[FactKind, int] | tuple[FactKind, int, int]) -> list[str]:
    return contradictions(START, facts(*told))


# Birth, brace start and today


def test_a_birth_tomorrow_is_in_the_future() -> None:
    tomorrow = TODAY + timedelta(1)
    assert faults_in(tomorrow, tomorrow, TODAY) == ["birth date 2026-11-26 is in the future (today is 2026-11-25)"]


def test_a_birth_today_is_not_in_the_future() -> None:
    assert faults_in(TODAY, TODAY + timedelta(30), TODAY) == []


def test_a_brace_start_before_birth_is_named() -> None:
    start = BORN - timedelta(1)
    assert faults_in(BORN, start, TODAY) == ["brace start 2026-01-09 is before birth 2026-01-10"]


def test_a_brace_start_on_the_day_of_birth_is_not_before_it() -> None:
    assert faults_in(BORN, BORN, TODAY) == []


def test_a_brace_start_more_than_twelve_months_ahead_is_named() -> None:
    said = ["brace start 2027-11-26 is more than a year ahead (today is 2026-11-25)"]
    assert faults_in(BORN, date(2027, 11, 26), TODAY) == said


def test_a_brace_start_twelve_months_ahead_to_the_day_is_fine() -> None:
    assert faults_in(BORN, date(2027, 11, 25), TODAY) == []


def test_a_year_ahead_of_a_leap_day_ends_on_the_28th() -> None:
    leap_day = date(2028, 2, 29)
    assert faults_in(BORN, date(2029, 2, 28), leap_day) == []
    assert len(faults_in(BORN, date(2029, 3, 1), leap_day)) == 1


def test_a_brace_start_after_the_eighteenth_birthday_is_named() -> None:
    said = ["brace start 2026-03-02 is more than 18 years after birth 2008-03-01"]
    assert faults_in(date(2008, 3, 1), START, TODAY) == said


def test_a_brace_start_on_the_eighteenth_birthday_is_fine() -> None:
    assert faults_in(date(2008, 3, 2), START, TODAY) == []


# Before the brace start


@pytest.mark.parametrize("kind", [OPENED, ENDED, *VISITS])
def test_a_fact_the_day_before_the_brace_start_is_named(kind: FactKind) -> None:
    words = f"{kind.value.replace('_', ' ')} ({ABOUT[kind]})"
    assert said_of((kind, -1)) == [f"{words} on 2026-03-01 is before the brace start 2026-03-02"]


@pytest.mark.parametrize("kind", [OPENED, PAUSED, ENDED, *VISITS])
def test_a_fact_on_the_day_of_the_brace_start_is_not_before_it(kind: FactKind) -> None:
    assert said_of((kind, 0)) == []


def test_a_pause_and_its_end_before_the_brace_start_are_both_named_with_what_they_are_about() -> None:
    assert said_of((PAUSED, -3), (RESUMED, -1)) == [
        "paused (skin) on 2026-02-27 is before the brace start 2026-03-02",
        "resumed on 2026-03-01 is before the brace start 2026-03-02",
    ]


# Until when


@pytest.mark.parametrize("days", [0, -5])
def test_a_gate_held_until_the_same_day_or_an_earlier_one_is_named(days: int) -> None:
    said = f"gate held (step-down) on 2026-06-10 lasts until {on(100 + days)}, which is not after it"
    assert said_of((HELD, 100, 100 + days)) == [said]


def test_bracing_lengthened_until_the_day_it_was_said_is_named() -> None:
    said = "lengthened on 2026-06-10 lasts until 2026-06-10, which is not after it"
    assert said_of((LENGTHENED, 100, 100)) == [said]


@pytest.mark.parametrize("kind", [HELD, LENGTHENED])
def test_until_the_next_day_is_after_it(kind: FactKind) -> None:
    assert said_of((kind, 100, 101)) == []


def test_a_gate_held_without_an_end_does_not_say_until_when() -> None:
    assert said_of((HELD, 100)) == ["gate held (step-down) on 2026-06-10 does not say until when"]


def test_a_lengthening_without_an_end_does_not_say_until_when() -> None:
    assert said_of((LENGTHENED, 100)) == ["lengthened on 2026-06-10 does not say until when"]


@pytest.mark.parametrize(
    "kind", [kind for kind in FactKind if kind not in (HELD, LENGTHENED, RESUMED, TAKEN_BACK, FactKind.END_TAKEN_BACK)]
)
def test_no_other_fact_needs_an_end(kind: FactKind) -> None:
    assert said_of((kind, 100)) == []


# Pauses


def test_a_second_pause_within_the_first_is_named() -> None:
    said = ["paused on 2026-03-22, but it was paused already since 2026-03-12"]
    assert said_of((PAUSED, 10), (PAUSED, 20)) == said


def test_a_second_pause_after_the_first_was_ended_is_fine() -> None:
    assert said_of((PAUSED, 10), (RESUMED, 15), (PAUSED, 20)) == []


def test_a_second_pause_on_the_day_the_first_ended_is_fine() -> None:
    assert said_of((PAUSED, 10), (RESUMED, 15), (PAUSED, 15)) == []


def test_a_third_pause_is_measured_from_the_second() -> None:
    assert said_of((PAUSED, 10), (PAUSED, 20), (PAUSED, 30)) == [
        "paused on 2026-03-22, but it was paused already since 2026-03-12",
        "paused on 2026-04-01, but it was paused already since 2026-03-22",
    ]


def test_an_end_of_a_pause_that_never_began_is_named() -> None:
    assert said_of((RESUMED, 15)) == ["resumed on 2026-03-17, but it was not paused then"]


def test_a_pause_ended_twice_is_named_once() -> None:
    said = ["resumed on 2026-03-20, but it was not paused then"]
    assert said_of((PAUSED, 10), (RESUMED, 15), (RESUMED, 18)) == said


def test_a_pause_and_its_end_are_fine() -> None:
    assert said_of((PAUSED, 10), (RESUMED, 15)) == []


def test_a_pause_that_nobody_has_ended_is_fine() -> None:
    assert said_of((PAUSED, 10)) == []


def test_a_pause_that_ends_on_its_first_day_is_named() -> None:
    said = ["resumed on 2026-03-12, the day it was paused: a pause lasts a day at least"]
    assert said_of((PAUSED, 10), (RESUMED, 10)) == said


def test_a_pause_that_ends_on_the_next_day_is_fine() -> None:
    assert said_of((PAUSED, 10), (RESUMED, 11)) == []


def test_on_one_day_the_later_word_comes_second() -> None:
    # An end that was told before its pause is an end of nothing, and the pause goes on.
    assert said_of((RESUMED, 10), (PAUSED, 10)) == ["resumed on 2026-03-12, but it was not paused then"]


# After the end


def test_a_second_end_corrects_the_first_and_one_that_was_taken_back_is_none() -> None:
    assert said_of((ENDED, 200), (ENDED, 300), (PAUSED, 250)) == []
    assert said_of((ENDED, 300), (ENDED, 200), (PAUSED, 250)) != []
    assert said_of((ENDED, 200), (FactKind.END_TAKEN_BACK, 210), (PAUSED, 250)) == []


# A step that was made, held and taken back


def test_a_step_is_not_held_once_it_was_made() -> None:
    said = ["gate held (step-down) on 2026-09-18, but the step was made on 2026-06-05: take that back first"]
    assert said_of((OPENED, 95), (HELD, 200, 230)) == said
    assert said_of((HELD, 200, 230), (OPENED, 95)) == said
    assert len(said_of((OPENED, 95), (HELD, 95, 230))) == 1


def test_a_step_that_was_held_can_be_made_later_and_one_that_was_taken_back_can_be_held() -> None:
    assert said_of((HELD, 90, 120), (OPENED, 121)) == []
    assert said_of((OPENED, 95), (TAKEN_BACK, 100), (HELD, 101, 130)) == []


def test_only_a_step_that_was_made_can_be_taken_back() -> None:
    assert said_of((TAKEN_BACK, 100)) == ["gate taken back (step-down), but it was not open"]
    assert said_of((OPENED, 95), (TAKEN_BACK, 96)) == []
    assert said_of((FactKind.END_TAKEN_BACK, 100)) == ["end taken back on 2026-06-10, but it had not ended"]


@pytest.mark.parametrize("kind", [OPENED, PAUSED])
def test_what_is_done_with_the_brace_the_day_after_the_end_is_named(kind: FactKind) -> None:
    words = f"{kind.value.replace('_', ' ')} ({ABOUT[kind]})"
    assert said_of((ENDED, 200), (kind, 201)) == [f"{words} on 2026-09-19 is after the end of bracing on 2026-09-18"]


@pytest.mark.parametrize("kind", [HELD, LENGTHENED])
def test_a_gate_held_or_bracing_lengthened_after_the_end_is_named(kind: FactKind) -> None:
    (said,) = said_of((ENDED, 200), (kind, 201, 300))
    assert said.endswith("on 2026-09-19 is after the end of bracing on 2026-09-18")


def test_a_pause_that_is_ended_after_the_end_is_named() -> None:
    said = ["resumed on 2026-09-19 is after the end of bracing on 2026-09-18"]
    assert said_of((PAUSED, 190), (ENDED, 200), (RESUMED, 201)) == said


@pytest.mark.parametrize("kind", [OPENED, PAUSED])
def test_what_is_done_with_the_brace_on_the_day_of_the_end_is_not_after_it(kind: FactKind) -> None:
    assert said_of((ENDED, 200), (kind, 200)) == []


@pytest.mark.parametrize("kind", [HELD, LENGTHENED])
def test_a_gate_held_or_bracing_lengthened_on_the_day_of_the_end_is_not_after_it(kind: FactKind) -> None:
    assert said_of((ENDED, 200), (kind, 200, 300)) == []


@pytest.mark.parametrize("kind", VISITS)
def test_visits_go_on_after_the_end(kind: FactKind) -> None:
    assert said_of((ENDED, 200), (kind, 300)) == []


def test_what_happened_before_the_end_is_fine() -> None:
    assert said_of((OPENED, 95), (PAUSED, 120), (RESUMED, 130), (LENGTHENED, 140, 900), (ENDED, 200)) == []


# Several at once, in whatever order they are told


EVERYTHING = (
    (KEPT, -4),
    (HELD, 90, 80),
    (LENGTHENED, 95),
    (PAUSED, 100),
    (PAUSED, 110),
    (RESUMED, 110),
    (RESUMED, 120),
    (ENDED, 200),
    (OPENED, 220),
)
ALL_OF_IT = [
    "visit kept (first-fit) on 2026-02-26 is before the brace start 2026-03-02",
    "gate held (step-down) on 2026-05-31 lasts until 2026-05-21, which is not after it",
    "lengthened on 2026-06-05 does not say until when",
    "paused on 2026-06-20, but it was paused already since 2026-06-10",
    "resumed on 2026-06-20, the day it was paused: a pause lasts a day at least",
    "resumed on 2026-06-30, but it was not paused then",
    "gate opened (step-down) on 2026-10-08 is after the end of bracing on 2026-09-18",
]


def test_every_contradiction_is_named_at_once() -> None:
    assert said_of(*EVERYTHING) == ALL_OF_IT


def test_impossible_dates_and_contradictions_are_named_together() -> None:
    born, start = date(2027, 1, 10), date(2026, 11, 30)
    assert faults_in(born, start, TODAY, [Fact(1, OPENED, start - timedelta(2), "step-down")]) == [
        "birth date 2027-01-10 is in the future (today is 2026-11-25)",
        "brace start 2026-11-30 is before birth 2027-01-10",
        "gate opened (step-down) on 2026-11-28 is before the brace start 2026-11-30",
    ]


def test_a_fact_without_a_fault_is_not_named_beside_one_that_has_it() -> None:
    assert said_of((KEPT, 14), (RESUMED, 15), (OPENED, 95)) == ["resumed on 2026-03-17, but it was not paused then"]


def test_the_order_in_which_pauses_are_told_does_not_matter() -> None:
    told = facts((PAUSED, 10), (RESUMED, 15), (PAUSED, 15), (RESUMED, 15), (RESUMED, 20))
    said = contradictions(START, told)
    assert len(said) == 2
    assert all(contradictions(START, shuffled) == said for shuffled in permutations(told))


def any_facts() -> st.SearchStrategy[list[Fact]]:
    """Facts of any kind, on few days so that they meet, until any day or none; each with its own number."""
    days = st.integers(-5, 30)
    told = st.lists(st.tuples(st.sampled_from(list(FactKind)), days, st.none() | days), max_size=8)
    return told.map(
        lambda drawn: [
            Fact(number, kind, on(day), ABOUT.get(kind, ""), on(until) if until is not None else None)
            for number, (kind, day, until) in enumerate(drawn)
        ]
    )


@given(any_facts(), st.randoms())
def test_the_order_in_which_facts_are_told_does_not_matter(told: list[Fact], chance: object) -> None:
    shuffled = list(told)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert contradictions(START, shuffled) == contradictions(START, told)
    assert faults_in(BORN, START, TODAY, iter(shuffled)) == contradictions(START, told)


@given(any_facts())
def test_facts_before_the_brace_start_are_named_once_each_and_no_others_are(told: list[Fact]) -> None:
    named = [said for said in contradictions(START, told) if "is before the brace start" in said]
    assert len(named) == sum(fact.on < START for fact in told)


@given(any_facts())
def test_facts_without_contradiction_alternate_between_pause_and_its_end(told: list[Fact]) -> None:
    if contradictions(START, told) == []:
        by_day = sorted(told, key=lambda fact: (fact.on, fact.number))
        pauses = [fact for fact in by_day if fact.kind in (PAUSED, RESUMED)]
        assert [fact.kind for fact in pauses] == [(PAUSED, RESUMED)[place % 2] for place in range(len(pauses))]
        assert all(two.on > one.on for one, two in zip(pauses[::2], pauses[1::2], strict=False))


@given(histories())
def test_a_course_that_can_be_has_no_faults(history: History) -> None:
    born, start = history.course.born, history.course.brace_start
    assert faults_in(born, start, start, history.course.facts) == []


@given(histories(), st.integers(1, 400))
def test_one_word_before_the_brace_start_is_all_that_is_wrong_with_it(history: History, days: int) -> None:
    born, start = history.course.born, history.course.brace_start
    early = Fact(1000, FactKind.VISIT_KEPT, start - timedelta(days), "first-fit")
    (said,) = faults_in(born, start, start, (*history.course.facts, early))
    assert said == f"visit kept (first-fit) on {early.on} is before the brace start {start}"
