"""The shipped protocols against the tables and lists they come from.

Labels: READ = seen in a stored copy of the source, MEMORY = from memory, PRACTICE = common practice, no source.
"""

import itertools
from datetime import date

import pytest
from dateutil.relativedelta import relativedelta

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.timeline import Timeline, build

EVERY_DAY = ClinicCalendar()
BORN = date(2024, 2, 29)


def plan(protocol_id: str, born: date, brace_start: date) -> Timeline:
    return build(protocol.shipped(protocol_id), Course(born, brace_start), EVERY_DAY)


# Desai L, Oprescu F, DiMeo A, Morcuende JA. Iowa Orthop J 2010;30:15-23, Table 2 (PMC2958265). READ
# Months from the brace start, hours low, hours high; None = until an age. Where the table gives a range
# ("8-9 months", "3-4 months", "age 4-5", "1-2 years") the protocol file says which end it takes.
TABLE_2010 = {
    "corrected in the first months": (
        relativedelta(months=2),
        [(3, 23, 23), (1, 20, 22), (1, 18, 20), (1, 16, 18), (1, 14, 16), (None, 12, 14)],
        relativedelta(years=4),
    ),
    "corrected after 8-9 months": (
        relativedelta(months=9),
        [(2, 18, 20), (4, 16, 16), (None, 12, 14)],
        relativedelta(years=4),
    ),
    "corrected at 2-4 years": (relativedelta(years=2, months=6), [(None, 12, 14)], relativedelta(years=5)),
    "corrected after 4 years": (relativedelta(years=4, months=1), [(24, 12, 14)], None),
}


@pytest.mark.parametrize("row", TABLE_2010)
def test_the_gradual_step_down_follows_every_row_of_the_2010_table(row: str) -> None:
    corrected_at, steps, ends_at = TABLE_2010[row]
    brace_start = BORN + corrected_at
    timeline = plan("graded-step-down", BORN, brace_start)

    assert [(phase.hours_low, phase.hours_high) for phase in timeline.phases] == [(low, high) for _, low, high in steps]
    months = 0
    for phase, (length, _, _) in zip(timeline.phases, steps, strict=True):
        assert phase.start == brace_start + relativedelta(months=months)
        if length is not None:
            months += length
            assert phase.end == brace_start + relativedelta(months=months)
    if ends_at is not None:
        assert timeline.ends_on == BORN + ends_at


def test_the_default_is_23_hours_for_three_months_then_12_to_14_to_age_four() -> None:
    # Gupta S, Agarwal A. J Foot Ankle Surg (Asia Pac) 2021;8(3):118-125, doi:10.5005/jp-journals-10040-1172. READ
    # The hours of nights and naps: Desai 2010, Table 2. READ
    timeline = plan(protocol.DEFAULT, date(2026, 1, 10), date(2026, 3, 1))
    assert [(phase.hours_low, phase.hours_high) for phase in timeline.phases] == [(23, 23), (12, 14)]
    assert timeline.phases[0].end == date(2026, 6, 1)
    assert timeline.ends_on == date(2030, 1, 10)


def test_visits_follow_the_manual_two_weeks_three_months_every_four_to_three_every_six_to_four() -> None:
    # Staheli L (ed.), clubfoot management manual, 3rd ed. 2009. MEMORY
    born, start = date(2026, 1, 10), date(2026, 3, 1)
    due = {visit.key: visit.due for visit in plan(protocol.DEFAULT, born, start).visits}

    assert due["first-fit"] == start + relativedelta(weeks=2)
    assert due["step-down"] == start + relativedelta(months=3)
    every_four = [day for key, day in due.items() if key.startswith("every-four-months")]
    assert every_four == [start + relativedelta(months=3 + 4 * number) for number in range(1, len(every_four) + 1)]
    assert every_four[-1] <= born + relativedelta(years=3) < every_four[-1] + relativedelta(months=4)
    every_six = [day for key, day in due.items() if key.startswith("every-six-months")]
    assert every_six[0] == every_four[-1] + relativedelta(months=6)
    assert all(day <= born + relativedelta(years=4) for day in every_six)


def test_visit_intervals_stay_within_the_orthotics_reference_list() -> None:
    # Orthotics reference text, topic 745 "Monitoring": at 2-3 weeks, then every 3-6 months to age 3-4. READ
    born, start = date(2026, 1, 31), date(2026, 3, 31)
    visits = [
        visit for visit in plan(protocol.DEFAULT, born, start).visits if visit.due < born + relativedelta(years=4)
    ]
    assert start + relativedelta(weeks=2) <= visits[0].due <= start + relativedelta(weeks=3)
    for earlier, later in itertools.pairwise(visits[1:]):
        assert earlier.due + relativedelta(months=3) <= later.due <= earlier.due + relativedelta(months=6, days=1)


def test_every_shipped_phase_and_visit_names_a_source_with_its_label() -> None:
    for protocol_id in protocol.shipped_ids():
        rules = protocol.shipped(protocol_id)
        labels = {source.key: source.label for source in rules.source}
        for variant in rules.variant:
            for part in (*variant.phase, *variant.visit):
                assert all(labels[key] for key in part.source)


def test_the_step_down_waits_for_the_clinic() -> None:
    # Staheli L (ed.), clubfoot management manual, 3rd ed. 2009: the clinic makes the step at the visit. MEMORY
    rules, course = protocol.shipped(protocol.DEFAULT), Course(date(2026, 1, 10), date(2026, 3, 1))
    long_after = date(2026, 9, 1)
    still_full_time = build(rules, course, EVERY_DAY, as_of=long_after).in_force(long_after)
    assert still_full_time is not None
    assert still_full_time.hours_low == 23

    decided = Course(course.born, course.brace_start, (Fact(1, FactKind.GATE_OPENED, date(2026, 6, 20), "step-down"),))
    nights = build(rules, decided, EVERY_DAY, as_of=long_after).in_force(long_after)
    assert nights is not None
    assert nights.hours_low == 12
