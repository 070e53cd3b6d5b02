import re
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.pictures import NARROWEST, draw
from bracewatch.schedule.timeline import Timeline, build

BORN, START = date(2026, 7, 1), date(2026, 9, 1)


def timeline(*facts: tuple[FactKind, date, str], protocol_id: str = "nights-to-four") -> Timeline:
    numbered = tuple(Fact(number, *fact) for number, fact in enumerate(facts, 1))
    return build(protocol.shipped(protocol_id), Course(BORN, START, numbered), ClinicCalendar())


def row(lines: tuple[str, ...], name: str) -> str:
    """What is drawn in the row of that name, without its label."""
    (found,) = [line for line in lines if line.startswith(name)]
    return found[margin_of(lines) :]


def margin_of(lines: tuple[str, ...]) -> int:
    """How many columns the labels take: the rule begins behind "from", the day and some air."""
    (found,) = [match for line in lines if (match := re.match(r"from \S+ +", line))]
    return found.end()


def test_a_course_of_ten_months_is_drawn_month_by_month() -> None:
    assert draw(timeline(), 80, date(2027, 6, 30)) == (
        "                         2026                  2027",
        "                         Sep  Oct   Nov  Dec   Jan  Feb  Mar   Apr  May   Jun",
        "from 2026-09-01          +----+-----+----+-----+----+----+-----+----+-----+-----",
        "Full time          23 h  #################?",
        "Nights and naps 12-14 h                  ======================================>",
        "Visits                     o             o                     o",
        "# day and night   = sleep   ? until the clinic decides   > goes on   o visit",
    )


def test_the_whole_course_goes_to_the_end_of_bracing_and_says_what_follows() -> None:
    lines = draw(timeline())
    assert row(lines, "Nights and naps").endswith("=")
    assert lines[-1] == "12 visits after bracing, 2031-07-01 to 2042-07-01, not drawn"
    assert row(lines, "Visits").count("o") == sum(visit.due <= date(2030, 7, 1) for visit in timeline().visits)


def test_visits_between_the_end_of_bracing_and_the_last_day_wanted_are_counted() -> None:
    assert draw(timeline(), until=date(2031, 12, 1))[-1] == "1 visit after bracing, on 2031-07-01, not drawn"
    assert "not drawn" not in "".join(draw(timeline(), until=date(2031, 6, 1)))


def test_the_mark_of_an_open_decision_goes_when_it_is_made() -> None:
    assert "?" in row(draw(timeline()), "Full time")
    lines = draw(timeline((FactKind.GATE_OPENED, date(2026, 12, 9), "step-down")))
    assert "?" not in "".join(lines)


def test_a_course_that_ended_waits_for_no_decision() -> None:
    assert "?" not in "".join(draw(timeline((FactKind.ENDED, date(2026, 10, 9), "relapse"))))


def test_a_pause_has_a_row_and_the_phase_it_cuts_has_one_row_in_two_pieces() -> None:
    paused = timeline((FactKind.PAUSED, date(2026, 10, 1), "skin"), (FactKind.RESUMED, date(2026, 11, 1), ""))
    lines = draw(paused, 80, date(2026, 12, 31))
    assert row(lines, "Brace paused").strip(" ") == "." * row(lines, "Brace paused").count(".")
    assert "# " in row(lines, "Full time").strip()


def test_each_kind_of_visit_has_its_mark() -> None:
    drawn = timeline(
        (FactKind.VISIT_KEPT, date(2026, 9, 15), "first-fit"),
        (FactKind.VISIT_CANCELLED, date(2026, 11, 20), "step-down"),
    )
    assert row(draw(drawn, until=date(2027, 6, 1)), "Visits").replace(" ", "") == "*xo"
    closed = {START + timedelta(days=number): "closed" for number in range(40)}
    without = build(protocol.shipped("nights-to-four"), Course(BORN, START), ClinicCalendar(closed=closed))
    assert "!" in row(draw(without), "Visits")
    assert any("! visit without an open day" in line for line in draw(without))


def test_visits_that_would_hide_each_other_stand_below_each_other() -> None:
    drawn = timeline((FactKind.VISIT_KEPT, date(2026, 9, 30), ""), (FactKind.VISIT_KEPT, date(2026, 10, 1), ""))
    lines = draw(drawn)
    marks = lines[lines.index(next(line for line in lines if line.startswith("Visits"))) :]
    assert marks[1].strip() == "*"


def test_a_course_that_begins_after_the_last_day_wanted_is_no_picture() -> None:
    assert draw(timeline(), until=START - timedelta(days=1)) == ()
    assert draw(timeline(), until=START) != ()


def test_too_narrow_a_screen_is_refused() -> None:
    with pytest.raises(ValueError, match=f"needs {NARROWEST} columns"):
        draw(timeline(), NARROWEST - 1)


@given(
    st.sampled_from(protocol.shipped_ids()),
    st.integers(NARROWEST, 200),
    st.none() | st.dates(START, date(2043, 1, 1)),
    st.lists(st.dates(START, date(2030, 1, 1)), max_size=5),
)
def test_no_line_is_too_long_no_mark_is_lost_and_every_phase_shows(
    protocol_id: str, width: int, until: date | None, came: list[date]
) -> None:
    drawn = timeline(*((FactKind.VISIT_KEPT, day, "") for day in came), protocol_id=protocol_id)
    lines = draw(drawn, width, until)
    assert all(len(line) <= width and line.isascii() and line == line.rstrip() for line in lines)

    margin = margin_of(lines)
    below = lines[next(place for place, line in enumerate(lines) if line.startswith("from ")) + 1 :]
    last = until or date.max
    rows = len({phase.key for phase in drawn.phases if phase.start <= last})
    assert all(set(line[margin:]) & set("#=.?>") for line in below[:rows])
    marks = [line[margin:] for line in below[rows:] if line[:margin].strip() in ("Visits", "")]
    days = [visit.kept or visit.due for visit in drawn.visits]
    said = [int(match[1]) for line in lines if (match := re.match(r"(\d+) visits? after bracing", line))]
    drawn_marks = sum(mark in "o*" for line in marks for mark in line)
    assert drawn_marks + sum(said) == sum(day <= last for day in days)
