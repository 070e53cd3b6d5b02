"""The programme's figures over a real store that the services filled. Worked by hand where CALC stands."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from programme_cast import START, Cast, at, two_clinics
from sqlalchemy import event

from bracewatch.rates.adherence import Adherence, Group
from bracewatch.services import calls, visits
from bracewatch.services.enrolment import start_again
from bracewatch.services.figures import NoSuchClinic, PhaseNow, Programme, programme
from bracewatch.store import Store

SEPTEMBER, OCTOBER = date(2026, 9, 1), date(2026, 10, 1)
FIRST_FIT = date(2026, 9, 15)


@pytest.fixture
def cast(store: Store) -> Cast:
    return two_clinics(store)


def rows(figures: Programme, month: date) -> dict[Group, Adherence]:
    return {row.group: row for row in figures.adherence if row.month == month}


def sep(day: int) -> date:
    return date(2026, 9, day)


def test_wear_of_a_month_is_weighed_against_the_phase_and_silence_is_unknown(cast: Cast) -> None:
    """CALC: asked on 3, 8, 15, 22 and 29 September; answered "20" twice: (20/23 + 20/23) / 2, unknown 3 / 5."""
    child = cast.family()
    cast.play(START, date(2026, 10, 4), {child: {sep(3): "20", sep(8): "20"}})
    figures = programme(cast.store, at(date(2026, 10, 5), 9))
    row = rows(figures, SEPTEMBER)[Group.FULL_TIME]
    assert (row.children, row.periods, row.known) == (1, 5, 2)
    assert row.known_mean == pytest.approx(20 / 23)
    assert row.unknown_share == pytest.approx(3 / 5)
    assert row.phases == ("Full time",)
    assert figures.in_brace == {SEPTEMBER: 1, OCTOBER: 1}


def test_more_than_was_prescribed_counts_as_all_of_it(cast: Cast) -> None:
    child = cast.family()
    cast.play(START, sep(6), {child: {sep(3): "24"}})
    assert rows(programme(cast.store, at(sep(7), 9)), SEPTEMBER)[Group.FULL_TIME].known_mean == 1


def test_a_correction_on_the_same_day_replaces_what_was_said_before(cast: Cast) -> None:
    child = cast.family()
    cast.play(START, sep(3), {child: {sep(3): "12"}})
    cast.says(child, "23", at(sep(3), 20))
    assert rows(programme(cast.store, at(sep(7), 9)), SEPTEMBER)[Group.FULL_TIME].known_mean == 1


def test_a_check_in_that_could_not_be_sent_is_no_period_and_is_told(cast: Cast) -> None:
    child = cast.family()
    cast.dead.add(cast.phones[child])
    cast.play(START, sep(9))
    figures = programme(cast.store, at(sep(12), 9))
    assert figures.adherence == ()
    assert figures.replies == ()
    # CALC: the welcome and the check-ins of the 3rd and the 8th
    assert [(row.state, row.messages, row.families) for row in figures.unsent] == [("failed", 3, 1)]
    assert figures.reach.children == 1


def test_a_message_that_was_sent_is_not_told_as_unsent(cast: Cast) -> None:
    cast.family()
    cast.play(START, sep(9))
    assert programme(cast.store, at(sep(12), 9)).unsent == ()


def test_unsent_messages_older_than_thirty_days_are_not_told(cast: Cast) -> None:
    child = cast.family()
    cast.dead.add(cast.phones[child])
    cast.tick(at(START, 18, 5))
    assert programme(cast.store, at(sep(30), 9)).unsent != ()
    assert programme(cast.store, at(date(2026, 10, 2), 9)).unsent == ()


def test_a_word_without_a_figure_answers_a_check_in_and_leaves_wear_unknown(cast: Cast) -> None:
    child = cast.family()
    cast.play(START, sep(6), {child: {sep(3): "please call me"}})
    figures = programme(cast.store, at(sep(7), 9))
    assert rows(figures, SEPTEMBER)[Group.FULL_TIME].unknown_share == 1
    assert [(row.sent, row.answered) for row in figures.replies] == [(1, 1)]
    assert {row.code: row.families for row in figures.standing}["asked-for-call"] == 1
    assert figures.families_flagged == 1


def test_silence_neither_answers_nor_raises_a_request_for_a_call(cast: Cast) -> None:
    cast.family()
    cast.play(START, sep(6))
    figures = programme(cast.store, at(sep(7), 9))
    assert [(row.sent, row.answered) for row in figures.replies] == [(1, 0)]
    assert figures.standing == ()
    assert figures.families_flagged == 0


def test_after_the_step_down_nights_are_counted_against_seven(cast: Cast) -> None:
    """CALC: stepped down on 1 December, nights are asked on the 15th; "5" of 7."""
    child = cast.family()
    december = date(2026, 12, 1)
    visits.record_kept(cast.store, child, "step-down", december, at(december, 12), opens_gate=True)
    cast.play(december, date(2026, 12, 19), {child: {date(2026, 12, 15): "5"}})
    figures = programme(cast.store, at(date(2026, 12, 20), 9))
    assert rows(figures, december).keys() == {Group.NIGHTS}
    assert rows(figures, december)[Group.NIGHTS].known_mean == pytest.approx(5 / 7)
    assert figures.phases_now == (PhaseNow(Group.NIGHTS, "Nights and naps", 1),)


def test_until_the_clinic_makes_the_step_down_the_child_stays_in_full_time(cast: Cast) -> None:
    cast.family()
    figures = programme(cast.store, at(date(2026, 12, 20), 9))
    assert figures.phases_now == (PhaseNow(Group.FULL_TIME, "Full time", 1),)


def test_graded_steps_are_one_group_and_keep_their_own_names(cast: Cast) -> None:
    """CALC: stepped down on 1 December; step 1 asks 20 to 22 hours: "16" is 16 / 20."""
    child = cast.family(protocol_id="graded-step-down")
    december = date(2026, 12, 1)
    visits.record_kept(cast.store, child, "step-down", december, at(december, 12), opens_gate=True)
    cast.play(december, date(2026, 12, 12), {child: {date(2026, 12, 8): "16"}})
    figures = programme(cast.store, at(date(2026, 12, 13), 9))
    row = rows(figures, december)[Group.STEPPING_DOWN]
    assert row.phases == ("Step 1: 20 to 22 hours",)
    assert row.known_mean == pytest.approx(16 / 20)
    assert figures.phases_now == (PhaseNow(Group.STEPPING_DOWN, "Step 1: 20 to 22 hours", 1),)


def test_the_month_of_a_check_in_is_the_clinics_not_the_familys(cast: Cast) -> None:
    # 18:05 on 30 September where the caregiver lives (UTC-4) is 01:05 on 1 October at the clinic (UTC+3).
    cast.family(start=sep(23), time_zone="America/New_York")
    sent = datetime.combine(sep(30), time(22, 5), UTC)
    cast.tick(sent)
    for now in (sent + timedelta(days=3), at(date(2027, 9, 5), 9)):  # the later one shows October as its first month
        assert [row.month for row in programme(cast.store, now).replies] == [OCTOBER]


def test_a_check_in_of_the_last_day_before_the_months_shown_is_left_out(cast: Cast) -> None:
    cast.family(start=sep(23))
    cast.tick(at(sep(30), 18, 5))
    assert [row.month for row in programme(cast.store, at(date(2027, 8, 5), 9)).replies] == [SEPTEMBER]
    assert programme(cast.store, at(date(2027, 9, 5), 9)).replies == ()


def test_a_visit_kept_in_its_window_is_in_time(cast: Cast) -> None:
    child = cast.family()
    visits.record_kept(cast.store, child, "first-fit", FIRST_FIT, at(FIRST_FIT, 12))
    (row,) = programme(cast.store, at(sep(16), 9)).visits
    assert (row.month, row.due, row.on_time) == (SEPTEMBER, 1, 1)


def test_a_visit_kept_after_its_window_is_late(cast: Cast) -> None:
    child = cast.family()
    visits.record_kept(cast.store, child, "first-fit", sep(25), at(sep(25), 12))  # it closes on the 22nd
    (row,) = programme(cast.store, at(sep(26), 9)).visits
    assert (row.on_time, row.late) == (0, 1)


def test_a_visit_nobody_came_to_is_open_and_then_not_kept(cast: Cast) -> None:
    cast.family()
    assert programme(cast.store, at(FIRST_FIT, 23)).visits == ()
    (row,) = programme(cast.store, at(sep(16), 9)).visits
    assert (row.still_open, row.not_kept) == (1, 0)
    (row,) = programme(cast.store, at(sep(23), 9)).visits
    assert (row.still_open, row.not_kept) == (0, 1)


def test_what_lies_before_enrolment_is_nobodys_miss(cast: Cast) -> None:
    # In the brace since 25 August: the first visit was planned for 8 September.
    cast.family(start=sep(11), brace_start=date(2026, 8, 25), born=date(2026, 7, 1))
    figures = programme(cast.store, at(sep(30), 9))
    assert figures.visits == ()
    assert figures.in_brace == {SEPTEMBER: 1}


def test_a_flag_that_was_settled_no_longer_counts(cast: Cast) -> None:
    child = cast.family()
    cast.says(child, "please call me", at(sep(2), 12))
    cast.tick(at(sep(2), 13))
    assert programme(cast.store, at(sep(2), 14)).families_flagged == 1
    calls.record(cast.store, child, "spoke", at(sep(2), 15))
    cast.tick(at(sep(2), 15))
    figures = programme(cast.store, at(sep(2), 16))
    assert (figures.standing, figures.families_flagged) == ((), 0)


def test_families_who_have_not_agreed_or_have_stopped_are_told(cast: Cast) -> None:
    cast.family(agreed=False)
    stopped = cast.family()
    cast.family()
    cast.says(stopped, "STOP", at(sep(2), 12))
    reach = programme(cast.store, at(sep(3), 9)).reach
    assert (reach.children, reach.not_agreed, reach.stopped) == (3, 1, 1)


def test_a_family_that_agreed_again_can_be_reached(cast: Cast) -> None:
    child = cast.family()
    cast.says(child, "STOP", at(sep(2), 12))
    cast.says(child, "START", at(sep(2), 13))
    reach = programme(cast.store, at(sep(3), 9)).reach
    assert (reach.not_agreed, reach.stopped) == (0, 0)


def test_after_a_relapse_the_child_counts_in_its_new_course(cast: Cast) -> None:
    child = cast.family()
    december = date(2026, 12, 1)
    visits.record_kept(cast.store, child, "step-down", december, at(december, 12), opens_gate=True)
    again = date(2027, 2, 1)
    start_again(cast.store, child, date(2027, 1, 10), again, at(date(2027, 1, 12), 9))
    waiting = programme(cast.store, at(date(2027, 1, 20), 9))
    assert waiting.phases_now == (PhaseNow(None, "Waiting for the brace", 1),)
    cast.play(again, date(2027, 2, 6), {child: {date(2027, 2, 3): "23"}})
    figures = programme(cast.store, at(date(2027, 2, 7), 9))
    assert rows(figures, again).keys() == {Group.FULL_TIME}
    assert figures.phases_now == (PhaseNow(Group.FULL_TIME, "Full time", 1),)


def test_a_child_whose_plan_is_over_is_done_and_is_not_in_the_brace(cast: Cast) -> None:
    cast.family()
    child = cast.family()
    visits.record_kept(cast.store, child, "step-down", date(2026, 12, 1), at(date(2026, 12, 1), 12), opens_gate=True)
    figures = programme(cast.store, at(date(2030, 8, 1), 9))  # four years and one month old
    assert PhaseNow(None, "Bracing has ended", 1) in figures.phases_now
    assert figures.reach.children == 1
    assert figures.in_brace[date(2030, 8, 1)] == 1


def test_figures_of_one_clinic_leave_the_other_out(cast: Cast) -> None:
    here, there = cast.family("hill"), cast.family("shore")
    cast.family("shore", agreed=False)
    cast.dead.add(cast.phones[there])
    cast.play(START, sep(6), {here: {sep(3): "23"}})
    cast.says(there, "please call me", at(sep(6), 20))
    cast.tick(at(sep(6), 20, 5))
    hill, shore = (programme(cast.store, at(sep(20), 9), key) for key in ("hill", "shore"))
    both = programme(cast.store, at(sep(20), 9))
    assert (hill.children, shore.children, both.children) == (1, 2, 3)
    assert rows(hill, SEPTEMBER) == rows(both, SEPTEMBER) != {}
    assert shore.adherence == shore.replies == ()
    assert (hill.unsent, shore.unsent) == ((), both.unsent)
    assert "asked-for-call" not in [row.code for row in hill.standing]
    assert "asked-for-call" in [row.code for row in shore.standing]
    assert (hill.families_flagged, shore.families_flagged, both.families_flagged) == (0, 1, 1)
    assert (hill.visits[0].due, shore.visits[0].due, both.visits[0].due) == (1, 2, 3)
    assert (hill.reach.not_agreed, shore.reach.not_agreed) == (0, 1)
    assert [phase.children for phase in (*hill.phases_now, *shore.phases_now, *both.phases_now)] == [1, 2, 3]


def test_a_clinic_there_is_not_is_refused(cast: Cast) -> None:
    with pytest.raises(NoSuchClinic, match="'valley'"):
        programme(cast.store, at(sep(20), 9), "valley")


def test_a_programme_without_families_has_empty_figures(cast: Cast) -> None:
    figures = programme(cast.store, at(sep(20), 9))
    assert figures.children == 0
    assert figures.months == (SEPTEMBER,)
    assert figures.adherence == figures.replies == figures.visits == figures.phases_now == ()


def test_twelve_months_are_shown_and_what_lies_before_them_is_left_out(cast: Cast) -> None:
    child = cast.family()
    cast.play(START, sep(4), {child: {sep(3): "23"}})
    shown = programme(cast.store, at(date(2027, 8, 5), 9))
    assert (len(shown.months), shown.months[0]) == (12, SEPTEMBER)
    assert rows(shown, SEPTEMBER) != {}
    later = programme(cast.store, at(date(2027, 9, 5), 9))
    assert (len(later.months), later.months[0]) == (12, OCTOBER)
    assert rows(later, SEPTEMBER) == {}


def test_the_number_of_selects_does_not_grow_with_the_families(cast: Cast) -> None:
    cast.family()
    one = _selects(cast.store)
    for _ in range(7):
        cast.family()
    cast.play(START, sep(4))
    assert _selects(cast.store) == one


def _selects(store: Store) -> int:
    seen: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        seen.append(statement)

    event.listen(store.engine, "before_cursor_execute", note)
    try:
        programme(store, at(sep(20), 9))
    finally:
        event.remove(store.engine, "before_cursor_execute", note)
    return len(seen)
