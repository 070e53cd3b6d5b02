from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.comparing import compare, compare_rules
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.timeline import Timeline, build, moved

BORN, START = date(2026, 7, 1), date(2026, 9, 1)
NIGHTS_TO_FOUR = protocol.shipped("nights-to-four")


def timeline(*facts: tuple[FactKind, date, str], rules: protocol.Protocol = NIGHTS_TO_FOUR) -> Timeline:
    return build(rules, course(*facts), ClinicCalendar())


def course(*facts: tuple[FactKind, date, str]) -> Course:
    return Course(BORN, START, tuple(Fact(number, *fact) for number, fact in enumerate(facts, 1)))


def version_two(*changes: tuple[str, str]) -> protocol.Protocol:
    text = NIGHTS_TO_FOUR.text
    for old, new in (("version = 1", "version = 2"), *changes):
        assert old in text
        text = text.replace(old, new, 1)
    return protocol.parse(text, "version two")


def test_a_timeline_beside_itself_differs_in_nothing() -> None:
    found = compare(timeline(), timeline())
    assert found.same
    assert found.end_moved_by == 0
    assert [*found.phases_changed, *found.visits_changed, *found.visits_moved] == []


def test_phases_that_only_one_has_and_the_later_end_are_found() -> None:
    found = compare(timeline(), timeline(rules=protocol.shipped("sleep-to-five")))
    assert [phase.key for phase in found.phases_dropped] == ["nights-and-naps"]
    assert [phase.key for phase in found.phases_added] == ["sleep"]
    assert [(pair.before.end, pair.after.end) for pair in found.phases_changed if pair.before and pair.after] == [
        (date(2026, 12, 1), date(2026, 11, 24))
    ]
    assert found.end_moved_by == 365
    assert not found.same


def test_an_earlier_end_is_a_negative_number_of_days() -> None:
    assert compare(timeline(rules=protocol.shipped("sleep-to-five")), timeline()).end_moved_by == -365


def test_a_new_visit_a_dropped_visit_and_a_moved_one_are_told_apart() -> None:
    new = version_two(
        ('key = "first-fit"', 'key = "early-fit"'),
        ('after = "P3M"', 'after = "P10W"'),
        ('opens = "P21D"', 'opens = "P20D"'),
    )
    found = compare(timeline(), timeline(rules=new))
    assert [visit.key for visit in found.visits_dropped] == ["first-fit"]
    assert [visit.key for visit in found.visits_added] == ["early-fit"]
    assert "step-down" in [pair.before.key for pair in found.visits_moved if pair.before]


def test_a_visit_with_another_window_changed_but_did_not_move() -> None:
    found = compare(timeline(), timeline(rules=version_two(('closes = "P7D"', 'closes = "P9D"'))))
    assert [pair.changes for pair in found.visits_changed] == [("closes",)]
    assert found.visits_moved == []
    assert not found.same


def test_a_booking_moves_a_visit() -> None:
    found = compare(timeline(), timeline((FactKind.VISIT_BOOKED, date(2026, 9, 17), "first-fit")))
    assert [pair.after.on for pair in found.visits_moved if pair.after] == [date(2026, 9, 17)]


def test_the_pieces_of_a_paused_phase_are_compared_in_their_order() -> None:
    paused = timeline((FactKind.PAUSED, date(2026, 10, 1), "skin"), (FactKind.RESUMED, date(2026, 10, 9), ""))
    found = compare(timeline(), paused)
    assert [phase.key for phase in found.phases_added] == ["paused", "full-time"]
    assert [pair.changes for pair in found.phases_changed] == [("end",)]


def test_moving_a_course_to_a_new_version_shows_only_what_lies_ahead() -> None:
    new, day = version_two(("hours = [12, 14]", "hours = [14, 16]")), date(2027, 6, 1)
    decided = (FactKind.GATE_OPENED, date(2026, 12, 1), "step-down")
    before = timeline(decided)
    found = compare(before, moved(before, new, course(decided), ClinicCalendar(), day))
    assert [(phase.start, phase.hours_high) for phase in found.phases_added] == [(day, 16)]
    assert found.end_moved_by == 0


def test_rules_that_no_calendar_shows_are_compared_too() -> None:
    new = version_two(
        ("low_wear_share = 0.7", "low_wear_share = 0.8"),
        ('visit_reminders = ["P3D", "P1D"]', 'visit_reminders = ["P2D"]'),
        ('note = "loose joints, 2-3 % of children"\n', ""),
    )
    found = {change.place: (change.before, change.after) for change in compare_rules(NIGHTS_TO_FOUR, new)}
    assert found == {
        "thresholds.low_wear_share": ("0.7", "0.8"),
        "contact.visit_reminders": ("P3D, P1D", "P2D"),
        "settings.loose.note": ("loose joints, 2-3 % of children", ""),
    }
    assert compare_rules(NIGHTS_TO_FOUR, NIGHTS_TO_FOUR) == ()


@given(
    st.sampled_from(["nights-to-four", "graded-step-down", "sleep-to-five", "trial-two-years"]),
    st.sampled_from(["nights-to-four", "graded-step-down", "sleep-to-five", "trial-two-years"]),
    st.integers(0, 600),
)
def test_nothing_of_either_side_is_lost_and_the_way_back_is_the_reverse(one: str, other: str, age_days: int) -> None:
    course = Course(BORN, BORN + timedelta(days=age_days))
    before, after = (build(protocol.shipped(name), course, ClinicCalendar()) for name in (one, other))
    found, back = compare(before, after), compare(after, before)
    assert [pair.before for pair in found.visits if pair.before] == list(before.visits)
    assert {pair.after for pair in found.visits if pair.after} == set(after.visits)
    assert [pair.before for pair in found.phases if pair.before] == list(before.phases)
    assert {pair.after for pair in found.phases if pair.after} == set(after.phases)
    assert found.visits_added == back.visits_dropped
    assert found.phases_dropped == back.phases_added
    assert found.same == back.same == (before.phases == after.phases and before.visits == after.visits)
