"""Reported wear by month and group: hand-worked examples (CALC, with the working), then what always holds."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.rates.adherence import CheckIn, Group, Report, by_month, group_of, periods

OCTOBER, NOVEMBER = date(2026, 10, 1), date(2026, 11, 1)
NOW = datetime(2026, 11, 24, 12, tzinfo=UTC)
A_SECOND = timedelta(seconds=1)


def at(day: int, hour: int = 18, month: int = 11) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=UTC)


def asked(child: int, when: datetime, group: Group | None = Group.FULL_TIME, phase: str = "Full time") -> CheckIn:
    return CheckIn(child, when, when.date().replace(day=1), group, phase)


def shares(check_ins: list[CheckIn], reports: list[Report], now: datetime = NOW) -> list[float | None]:
    return [period.share for period in periods(check_ins, reports, now)]


# Where a period begins and ends


def test_a_period_runs_from_its_check_in_up_to_the_next_one_of_the_same_child() -> None:
    # CALC: heard on the 3rd, between the check-ins of the 2nd and the 9th: the first is known, the second is not.
    assert shares([asked(1, at(2)), asked(1, at(9))], [Report(1, at(3), 0.8)]) == [0.8, None]


def test_a_report_at_the_moment_of_the_next_check_in_belongs_to_the_next_period() -> None:
    assert shares([asked(1, at(2)), asked(1, at(9))], [Report(1, at(9), 0.8)]) == [None, 0.8]


def test_the_next_check_in_of_another_child_ends_nothing() -> None:
    assert shares([asked(1, at(2)), asked(2, at(3))], [Report(1, at(9), 0.8)]) == [0.8, None]


def test_a_report_of_another_child_makes_nothing_known() -> None:
    assert shares([asked(1, at(2))], [Report(2, at(3), 0.8)]) == [None]


def test_a_period_lasts_fourteen_days_at_most() -> None:
    last_moment = at(2) + timedelta(days=14) - A_SECOND
    assert shares([asked(1, at(2))], [Report(1, last_moment, 0.8)]) == [0.8]
    assert shares([asked(1, at(2))], [Report(1, last_moment + A_SECOND, 0.8)]) == [None]


def test_a_report_before_the_first_check_in_stands_in_no_period() -> None:
    assert shares([asked(1, at(2))], [Report(1, at(1), 0.8)]) == [None]


def test_what_lies_after_now_is_not_known_yet() -> None:
    assert shares([asked(1, at(2))], [Report(1, at(8), 0.8)], now=at(7)) == [None]
    assert shares([asked(1, at(9))], [], now=at(7)) == []


def test_a_period_has_the_mean_of_its_reports() -> None:
    # CALC: (1.0 + 0.5 + 0.6) / 3 = 0.7
    reports = [Report(1, at(3), 1.0), Report(1, at(4), 0.5), Report(1, at(5), 0.6)]
    assert shares([asked(1, at(2))], reports) == [pytest.approx(0.7)]


# Still open for an answer


def test_an_unanswered_check_in_counts_once_it_is_two_days_old() -> None:
    sent = NOW - timedelta(days=2)
    assert shares([asked(1, sent)], []) == [None]
    assert shares([asked(1, sent + A_SECOND)], []) == []


def test_an_answered_check_in_counts_at_once() -> None:
    assert shares([asked(1, NOW - timedelta(hours=2))], [Report(1, NOW - timedelta(hours=1), 0.9)]) == [0.9]


def test_a_check_in_without_a_prescribed_brace_is_no_period_but_ends_the_one_before() -> None:
    check_ins = [asked(1, at(2)), asked(1, at(9), group=None, phase="")]
    assert shares(check_ins, [Report(1, at(10), 0.9)]) == [None]


# Months and groups


def test_the_bounds_of_a_month_worked_by_hand() -> None:
    """CALC: four periods of three children; known 0.9 and 0.5, two unknown.

    Mean of the known (0.9 + 0.5) / 2 = 0.7; unknown 2 / 4 = 0.5; all unknown at 0: 1.4 / 4 = 0.35;
    all unknown in full: (1.4 + 2) / 4 = 0.85.
    """
    check_ins = [asked(1, at(2)), asked(1, at(9)), asked(2, at(2)), asked(3, at(2))]
    reports = [Report(1, at(3), 0.9), Report(2, at(3), 0.5)]
    (row,) = by_month(periods(check_ins, reports, NOW))
    assert (row.month, row.group, row.phases) == (NOVEMBER, Group.FULL_TIME, ("Full time",))
    assert (row.children, row.periods, row.known, row.unknown) == (3, 4, 2, 2)
    assert row.known_mean == pytest.approx(0.7)
    assert row.unknown_share == 0.5
    assert row.lowest == pytest.approx(0.35)
    assert row.highest == pytest.approx(0.85)


def test_a_month_of_which_nothing_is_known_has_no_mean_and_bounds_from_none_to_all() -> None:
    (row,) = by_month(periods([asked(1, at(2)), asked(2, at(2))], [], NOW))
    assert row.known_mean is None
    assert (row.lowest, row.highest, row.unknown_share) == (0, 1, 1)


def test_a_month_of_which_all_is_known_has_no_room_between_its_bounds() -> None:
    (row,) = by_month(periods([asked(1, at(2))], [Report(1, at(3), 0.6)], NOW))
    assert row.lowest == row.known_mean == row.highest == 0.6
    assert row.unknown_share == 0


def test_reported_zero_is_known_and_is_not_unknown() -> None:
    (row,) = by_month(periods([asked(1, at(2))], [Report(1, at(3), 0.0)], NOW))
    assert row.known_mean == 0
    assert row.unknown_share == 0


def test_a_period_belongs_to_the_month_of_its_check_in_even_where_it_reaches_into_the_next() -> None:
    rows = by_month(periods([asked(1, at(30, month=10))], [Report(1, at(1), 0.6)], NOW))
    assert [(row.month, row.known) for row in rows] == [(OCTOBER, 1)]


def test_months_come_in_order_and_groups_in_the_order_of_a_course() -> None:
    check_ins = [
        asked(1, at(2), Group.NIGHTS, "Nights and naps"),
        asked(2, at(2), Group.STEPPING_DOWN, "Step 1: 20 to 22 hours"),
        asked(3, at(2), Group.STEPPING_DOWN, "Sixteen hours"),
        asked(4, at(2)),
        asked(5, at(2, month=10), Group.NIGHTS, "Nights"),
    ]
    rows = by_month(periods(check_ins, [], NOW))
    assert [(row.month, row.group) for row in rows] == [
        (OCTOBER, Group.NIGHTS),
        (NOVEMBER, Group.FULL_TIME),
        (NOVEMBER, Group.STEPPING_DOWN),
        (NOVEMBER, Group.NIGHTS),
    ]
    assert rows[2].phases == ("Sixteen hours", "Step 1: 20 to 22 hours")


def test_without_check_ins_there_are_no_figures_at_all() -> None:
    assert by_month(periods([], [Report(1, at(3), 0.6)], NOW)) == []


@pytest.mark.parametrize(
    ("asks", "is_first", "group"),
    [
        ("hours", True, Group.FULL_TIME),
        ("hours", False, Group.STEPPING_DOWN),
        ("nights", False, Group.NIGHTS),
        ("nights", True, Group.NIGHTS),  # a child corrected at two begins with nights
    ],
)
def test_a_phase_is_grouped_by_what_is_asked_and_by_its_place(asks: str, is_first: bool, group: Group) -> None:
    assert group_of(asks, is_first=is_first) is group


@pytest.mark.parametrize("share", [-0.01, 1.01, float("nan")])
def test_a_share_outside_zero_to_one_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="from 0 to 1"):
        Report(1, at(3), share)


# What always holds

moments = st.integers(0, 60 * 24).map(lambda hours: datetime(2026, 9, 25, tzinfo=UTC) + timedelta(hours=hours))
children = st.integers(1, 4)
check_in_lists = st.lists(
    st.builds(asked, children, moments, st.sampled_from([*Group, None]), st.sampled_from(["A", "B"])), max_size=25
)
report_lists = st.lists(st.builds(Report, children, moments, st.floats(0, 1)), max_size=25)


@given(check_in_lists, report_lists)
def test_the_bounds_contain_the_mean_and_every_share_is_from_zero_to_one(
    check_ins: list[CheckIn], reports: list[Report]
) -> None:
    for row in by_month(periods(check_ins, reports, NOW)):
        assert 0 <= row.lowest <= row.highest <= 1
        assert 0 <= row.unknown_share <= 1
        if row.known_mean is not None:
            assert row.lowest <= row.known_mean <= row.highest + 1e-12  # rounding of the last bit
        assert row.known_mean is not None or row.unknown == row.periods


@given(check_in_lists, report_lists, st.data())
def test_taking_a_report_away_never_lowers_the_unknown_share(
    check_ins: list[CheckIn], reports: list[Report], data: st.DataObject
) -> None:
    left = list(reports)
    if left:
        left.pop(data.draw(st.integers(0, len(left) - 1)))
    before = {(row.month, row.group): row for row in by_month(periods(check_ins, reports, NOW))}
    after = {(row.month, row.group): row for row in by_month(periods(check_ins, left, NOW))}
    assert after.keys() <= before.keys()
    for key, row in after.items():
        assert row.unknown_share >= before[key].unknown_share


@given(check_in_lists, report_lists, st.randoms(use_true_random=False))
def test_the_order_of_the_input_does_not_matter(check_ins: list[CheckIn], reports: list[Report], dice: object) -> None:
    mixed_check_ins, mixed_reports = list(check_ins), list(reports)
    dice.shuffle(mixed_check_ins)  # type: ignore[attr-defined]
    dice.shuffle(mixed_reports)  # type: ignore[attr-defined]
    assert by_month(periods(mixed_check_ins, mixed_reports, NOW)) == by_month(periods(check_ins, reports, NOW))


@given(check_in_lists, report_lists)
def test_every_settled_check_in_with_a_brace_is_one_period(check_ins: list[CheckIn], reports: list[Report]) -> None:
    settled = [
        check_in for check_in in check_ins if check_in.group is not None and check_in.sent_at <= NOW - timedelta(days=2)
    ]
    early = {check_in.child for check_in in check_ins if check_in.sent_at > NOW - timedelta(days=2)}
    found = periods(check_ins, reports, NOW)
    for child in {check_in.child for check_in in settled} - early:
        assert sum(period.child == child for period in found) == sum(each.child == child for each in settled)
