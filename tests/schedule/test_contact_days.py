"""The days on which families are asked and reminded: one list for a whole course, one answer for a day."""

from datetime import date, timedelta
from itertools import chain

from histories import History, histories
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.contact_days import check_in_rounds, days_before, is_asking_day, reminder_days, rounds
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.protocol import Contact
from bracewatch.schedule.spans import Span
from bracewatch.schedule.timeline import PAUSE, Phase, Timeline, Visit, build, moved

RULES = protocol.shipped("nights-to-four")  # asks about full time every 7 days, about nights every 14
CONTACT = RULES.contact  # a first check-in on day 2; reminders 3 days and 1 day before a visit
BORN, START = date(2026, 1, 10), date(2026, 3, 2)


def contact(first_check_in: str = "P2D", *visit_reminders: str) -> Contact:
    return Contact.model_validate(
        {
            "first_check_in": first_check_in,
            "visit_reminders": visit_reminders or ("P3D", "P1D"),
            "closer_check_in": "P3D",
            "source": ("clinic",),
        }
    )


def course(*facts: tuple[FactKind, int, str]) -> Timeline:
    """A course by day of the course: (what happened, on which day, about what)."""
    told = [Fact(number, kind, START + timedelta(on), about) for number, (kind, on, about) in enumerate(facts)]
    return build(RULES, Course(BORN, START, tuple(told)), ClinicCalendar())


def phase(start: int, end: int, every: int = 7, key: str = "full-time", *, gate_open: bool = True) -> Phase:
    first, last = START + timedelta(start), START + timedelta(end)
    return Phase(key, "A phase", first, last, 23, 23, None, gate_open, "hours", every)


def pause(start: int, end: int) -> Phase:
    return Phase(
        PAUSE, "Brace paused", START + timedelta(start), START + timedelta(end), 0, 0, None, True, "nothing", 0
    )


def visit(on: int | None, due: int, *, kept: bool = False) -> Visit:
    day, planned = START + timedelta(on) if on is not None else None, START + timedelta(due)
    came = day if kept else None
    return Visit(f"visit-{due}", "A visit", planned, planned, planned, day, came, None, False, on is None, "")


def timeline(*phases: Phase, visits: tuple[Visit, ...] = ()) -> Timeline:
    return Timeline("made-up", 1, "any-age", phases, visits, phases[-1].end)


def asked_on(made: Timeline, when: Contact = CONTACT) -> list[int]:
    """The days of the course, rising, that `check_in_rounds` lists; twice what it lists twice."""
    return sorted(day - START.toordinal() for day in chain.from_iterable(check_in_rounds(made, when)))


def days_of_course(days: range) -> list[int]:
    return [day - START.toordinal() for day in days]


def ordinals(start: int, end: int) -> tuple[int, int]:
    return START.toordinal() + start, START.toordinal() + end


# The rounds of one phase


def test_a_phase_is_asked_about_every_so_many_days_and_not_on_its_first() -> None:
    assert days_of_course(rounds(phase(0, 30), *ordinals(0, 30))) == [7, 14, 21, 28]


def test_rounds_go_up_to_the_end_and_not_onto_it() -> None:
    assert days_of_course(rounds(phase(0, 90), *ordinals(0, 21))) == [7, 14]
    assert days_of_course(rounds(phase(0, 90), *ordinals(0, 22))) == [7, 14, 21]


def test_rounds_from_a_later_day_keep_the_phases_own_rhythm() -> None:
    assert days_of_course(rounds(phase(10, 90), *ordinals(20, 40))) == [24, 31, 38]
    assert days_of_course(rounds(phase(10, 90), *ordinals(24, 32))) == [24, 31]
    assert days_of_course(rounds(phase(10, 90), *ordinals(25, 32))) == [31]


def test_days_before_a_phase_begins_have_no_rounds() -> None:
    assert days_of_course(rounds(phase(10, 90), *ordinals(0, 17))) == []
    assert days_of_course(rounds(phase(10, 90), *ordinals(0, 18))) == [17]


def test_a_phase_asked_about_every_day_still_has_no_round_on_its_first() -> None:
    assert days_of_course(rounds(phase(0, 90, every=1), *ordinals(0, 4))) == [1, 2, 3]


@given(st.integers(1, 60), st.integers(-200, 400), st.integers(0, 200))
def test_rounds_are_the_days_that_lie_whole_rounds_after_the_start(every: int, since: int, length: int) -> None:
    first, last = ordinals(since, since + length)
    by_hand = [day for day in range(since, since + length) if day > 0 and day % every == 0]
    assert days_of_course(rounds(phase(0, 9, every), first, last)) == by_hand


# One day


def test_the_first_check_in_comes_on_its_day_of_the_first_phase_and_on_no_other() -> None:
    made = course()
    first = made.phases[0]
    assert [n for n in range(7) if is_asking_day(made, CONTACT, first, START + timedelta(n))] == [2]


def test_a_later_phase_has_no_first_check_in() -> None:
    made = timeline(phase(0, 20), phase(20, 90, every=14, key="nights"))
    nights = made.phases[1]
    assert [n for n in range(20, 49) if is_asking_day(made, CONTACT, nights, START + timedelta(n))] == [34, 48]


def test_a_pause_asks_nothing_whatever_day_it_is() -> None:
    made = timeline(phase(0, 1), pause(1, 60), phase(60, 90))
    assert not any(is_asking_day(made, CONTACT, made.phases[1], START + timedelta(n)) for n in range(1, 60))


def test_a_pause_from_the_very_first_day_asks_nothing_on_the_day_of_the_first_check_in() -> None:
    made = timeline(pause(0, 10), phase(10, 90))
    assert not is_asking_day(made, CONTACT, made.phases[0], START + timedelta(2))
    assert asked_on(made)[0] == 17


# The whole course


def test_full_time_is_asked_about_on_day_two_and_then_every_week() -> None:
    assert asked_on(course())[:5] == [2, 7, 14, 21, 28]


def test_nights_are_asked_about_every_two_weeks_from_the_day_the_gate_opened() -> None:
    opened = course((FactKind.GATE_OPENED, 95, "step-down"))
    assert [day for day in asked_on(opened) if 84 <= day <= 130] == [84, 91, 109, 123]


def test_behind_a_gate_that_nobody_opened_the_weekly_rhythm_goes_on() -> None:
    shut = course()
    full_time, nights = shut.phases
    assert (full_time.gate_open, nights.key) == (False, "nights-and-naps")
    assert [day for day in asked_on(shut) if 84 <= day <= 130] == [84, 91, 98, 105, 112, 119, 126]
    assert asked_on(shut)[-1] > (nights.end - START).days - 8  # to the very end of bracing


def test_a_second_gate_behind_a_shut_one_changes_nothing() -> None:
    made = timeline(phase(0, 21, gate_open=False), phase(21, 50, every=5, gate_open=False), phase(50, 80, every=3))
    assert asked_on(made) == [2, 7, 14, 21, 28, 35, 42, 49, 56, 63, 70, 77]


def test_an_open_gate_lets_the_next_phase_set_the_rhythm() -> None:
    made = timeline(phase(0, 21), phase(21, 50, every=5, gate_open=False), phase(50, 80, every=3))
    assert asked_on(made) == [2, 7, 14, 26, 31, 36, 41, 46, 51, 56, 61, 66, 71, 76]


def test_nobody_is_asked_during_a_pause() -> None:
    paused = course((FactKind.PAUSED, 12, "skin"), (FactKind.RESUMED, 24, ""))
    assert [day for day in asked_on(paused) if day < 36] == [2, 7, 28, 35]


def test_the_day_before_a_pause_and_the_day_it_ends_can_be_asking_days() -> None:
    paused = course((FactKind.PAUSED, 15, "skin"), (FactKind.RESUMED, 21, ""))
    assert [day for day in asked_on(paused) if day < 30] == [2, 7, 14, 21, 28]


def test_a_pause_that_nobody_ended_asks_nothing_to_the_end_of_the_course() -> None:
    assert asked_on(course((FactKind.PAUSED, 12, "skin"))) == [2, 7]


def test_after_a_pause_in_a_phase_without_a_shut_gate_the_rounds_start_anew() -> None:
    paused = course(
        (FactKind.GATE_OPENED, 95, "step-down"), (FactKind.PAUSED, 110, "skin"), (FactKind.RESUMED, 115, "")
    )
    assert [day for day in asked_on(paused) if 95 <= day <= 145] == [109, 129, 143]


def test_a_first_check_in_that_falls_into_a_pause_is_left_out() -> None:
    paused = course((FactKind.PAUSED, 1, "skin"), (FactKind.RESUMED, 5, ""))
    assert asked_on(paused)[:2] == [7, 14]


def test_a_first_check_in_on_the_day_a_pause_ends_still_comes() -> None:
    paused = course((FactKind.PAUSED, 1, "skin"), (FactKind.RESUMED, 2, ""))
    assert asked_on(paused)[:2] == [2, 7]


def test_a_first_check_in_on_a_day_of_the_rounds_is_one_check_in() -> None:
    assert asked_on(course(), contact("P14D"))[:3] == [7, 14, 21]


def test_a_first_check_in_after_the_end_of_the_first_phase_never_comes() -> None:
    made = timeline(phase(0, 5), phase(5, 30, every=14, key="nights"))
    assert asked_on(made, contact("P5D")) == [19]
    assert asked_on(made, contact("P4D")) == [4, 19]


def test_a_first_check_in_behind_a_shut_gate_still_comes() -> None:
    made = timeline(phase(0, 5, gate_open=False), phase(5, 30, every=14, key="nights"))
    assert asked_on(made, contact("P6D")) == [6, 7, 14, 21, 28]


def test_a_course_that_ended_is_asked_about_up_to_its_last_day_and_no_further() -> None:
    assert asked_on(course((FactKind.ENDED, 21, "relapse"))) == [2, 7, 14]
    assert asked_on(course((FactKind.ENDED, 22, "relapse"))) == [2, 7, 14, 21]


FIRST_CHECK_INS = st.integers(1, 120).map(lambda days: contact(f"P{days}D"))


def asking_days(made: Timeline, when: Contact) -> list[int]:
    """The same, asked day by day of the phase in force: the way a review asks."""
    found = []
    for day in range(made.phases[0].start.toordinal() - 3, made.ends_on.toordinal() + 30):
        held = made.in_force(date.fromordinal(day))
        if held is not None and is_asking_day(made, when, held, date.fromordinal(day)):
            found.append(day)
    return found


@given(histories(), FIRST_CHECK_INS)
def test_the_rounds_of_a_course_are_the_days_on_which_the_phase_in_force_is_asked_about(
    history: History, when: Contact
) -> None:
    made = history.timeline()
    assert sorted(chain.from_iterable(check_in_rounds(made, when))) == asking_days(made, when)


@given(histories(), FIRST_CHECK_INS)
def test_no_day_is_listed_twice_and_none_is_in_a_pause(history: History, when: Contact) -> None:
    made = history.timeline()
    days = list(chain.from_iterable(check_in_rounds(made, when)))
    assert len(days) == len(set(days))
    pauses = [held for held in made.phases if held.key == PAUSE]
    assert not any(held.start <= date.fromordinal(day) < held.end for day in days for held in pauses)


@given(histories(), histories(), st.integers(1, 2000))
def test_the_same_holds_for_a_course_that_moved_to_another_protocol(history: History, other: History, on: int) -> None:
    before = history.timeline()
    day = min(history.course.brace_start + timedelta(on), before.ends_on)
    made = moved(before, other.rules, history.course, history.clinic, day, history.as_of)
    assert sorted(chain.from_iterable(check_in_rounds(made, CONTACT))) == asking_days(made, CONTACT)


# Reminders


def test_a_visit_is_reminded_of_three_days_and_one_day_before() -> None:
    assert days_before(date(2026, 6, 2), CONTACT) == [date(2026, 5, 30), date(2026, 6, 1)]


def test_reminders_come_in_order_whatever_order_the_protocol_has() -> None:
    assert days_before(date(2026, 6, 30), contact("P2D", "P1D", "P14D", "P3D")) == [
        date(2026, 6, 16),
        date(2026, 6, 27),
        date(2026, 6, 29),
    ]


def test_a_reminder_a_month_before_the_31st_comes_on_the_last_day_of_a_shorter_month() -> None:
    assert days_before(date(2026, 3, 31), contact("P2D", "P1M")) == [date(2026, 2, 28)]


def test_two_reminders_on_one_day_are_one() -> None:
    assert days_before(date(2026, 3, 31), contact("P2D", "P1M", "P31D")) == [date(2026, 2, 28)]
    assert len(days_before(date(2026, 3, 30), contact("P2D", "P1M", "P31D"))) == 2


def reminded_on(made: Timeline, when: Contact = CONTACT) -> list[int]:
    return [day - START.toordinal() for day in reminder_days(made, when)]


def test_a_course_is_reminded_of_each_visit_on_the_day_chosen_not_on_the_day_due() -> None:
    assert reminded_on(timeline(phase(0, 99), visits=(visit(16, due=14), visit(60, due=60)))) == [13, 15, 57, 59]


def test_a_visit_without_a_day_is_not_reminded_of() -> None:
    assert reminded_on(timeline(phase(0, 99), visits=(visit(None, due=14), visit(60, due=60)))) == [57, 59]


def test_a_visit_due_on_the_day_bracing_ends_is_reminded_of_and_one_due_a_day_later_is_not() -> None:
    assert reminded_on(timeline(phase(0, 99), visits=(visit(99, due=99),))) == [96, 98]
    assert reminded_on(timeline(phase(0, 99), visits=(visit(99, due=100),))) == []


def test_two_visits_whose_reminders_meet_are_one_reminding_day() -> None:
    assert reminded_on(timeline(phase(0, 99), visits=(visit(20, due=20), visit(22, due=22)))) == [17, 19, 21]


def test_the_reminding_days_of_a_planned_course_are_those_of_its_visits() -> None:
    assert reminded_on(course())[:4] == [11, 13, 89, 91]  # day 14, and 2 June, three months after 2 March: day 92


@given(histories(), st.lists(st.integers(1, 60), min_size=1, max_size=4))
def test_reminding_days_are_those_before_every_visit_of_the_bracing_that_has_a_day(
    history: History, spans: list[int]
) -> None:
    made, when = history.timeline(), contact("P2D", *(str(Span(days=days)) for days in spans))
    days = [date.fromordinal(day) for day in reminder_days(made, when)]
    held = [seen for seen in made.visits if seen.on is not None and seen.due <= made.ends_on]
    assert days == sorted({seen.on - timedelta(span) for seen in held for span in spans})  # type: ignore[operator]
    assert set(days) == {day for seen in held for day in days_before(seen.on, when)}  # type: ignore[arg-type]


def test_a_kept_visit_has_its_reminding_days_too() -> None:
    assert reminded_on(timeline(phase(0, 99), visits=(visit(20, due=20, kept=True),))) == [17, 19]
