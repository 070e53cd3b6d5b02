from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bracewatch.schedule.boots import (
    PUBLISHED_GROWTH,
    STANDARD,
    BootSettings,
    ChildInBoots,
    Fitting,
    GrowthBand,
    SizeNeed,
    Spread,
    bar_length_cm,
    boots_needed,
    european_size,
    next_size_due,
)
from bracewatch.schedule.spans import Span, add_months

BORN = date(2024, 1, 10)
TODAY = date(2026, 3, 1)

DAYS = st.dates(date(2015, 1, 1), date(2035, 12, 31))
AGES_IN_DAYS = st.integers(0, 6 * 365)
LENGTHS = st.integers(450, 2200).map(lambda tenths: tenths / 10)
SIZES = st.integers(14, 70).map(lambda half_sizes: half_sizes / 2)
ALLOWANCES = st.sampled_from([0.0, 12.0, 15.0])
SHARES = st.sampled_from([0.5, 0.79, 1.0, 1.3, 2.0])


def at_months(months: int) -> date:
    return add_months(BORN, months)


def test_sizes_are_rounded_up_so_that_toes_never_lack_room() -> None:
    assert european_size(105) == 18.0
    assert european_size(105.1) == 18.5
    assert european_size(108.3) == 18.5
    assert european_size(108.4) == 19.0


def test_boots_sized_by_foot_length_take_no_allowance() -> None:
    assert european_size(120, allowance_mm=0) == 18.0


@pytest.mark.parametrize("length", [0, 10.5, 18, 44.9, 220.1, 1050, -100, float("nan"), float("inf")])
def test_a_length_no_braced_child_has_is_refused_with_what_is_allowed(length: float) -> None:
    with pytest.raises(ValueError, match=r"foot length .* cannot be: give 45 to 220 mm"):
        european_size(length)


@pytest.mark.parametrize("length", [45, 88, 220])
def test_lengths_at_the_edge_are_taken(length: float) -> None:
    assert european_size(length) > 0


@pytest.mark.parametrize("allowance", [-1, 31, float("nan")])
def test_an_impossible_allowance_is_refused(allowance: float) -> None:
    with pytest.raises(ValueError, match="allowance"):
        european_size(100, allowance)
    with pytest.raises(ValueError, match="allowance"):
        BootSettings(allowance_mm=allowance)


@given(LENGTHS, LENGTHS, ALLOWANCES)
def test_a_larger_foot_never_gets_a_smaller_size(one: float, other: float, allowance: float) -> None:
    shorter, longer = sorted((one, other))
    assert european_size(shorter, allowance) <= european_size(longer, allowance)


@given(LENGTHS, ALLOWANCES)
def test_a_boot_holds_foot_and_allowance_with_less_than_half_a_size_to_spare(length: float, allowance: float) -> None:
    inside_mm = european_size(length, allowance) / 0.15
    assert -1e-6 <= inside_mm - length - allowance < 10 / 3


def test_the_bar_is_as_long_as_the_shoulders_are_wide() -> None:
    assert bar_length_cm(22.5) == 22.5


@pytest.mark.parametrize("width", [0, 9.9, 35.1, 225, -22, float("nan")])
def test_an_impossible_shoulder_width_is_refused_with_what_is_allowed(width: float) -> None:
    with pytest.raises(ValueError, match=r"shoulder width .* cannot be: give 10 to 35 cm"):
        bar_length_cm(width)


def test_growth_is_counted_on_in_the_next_band_from_the_birthday_on() -> None:
    # Fitted 15 days before 15 months. Slowest: 15 of the 61 days of a half size are done by then, and the other
    # 46/61 take that share of three months: 46/61 of 91 days is 68.6. Fastest: 15/30, then half of 61 days.
    fitted = at_months(15) - timedelta(days=15)
    assert (fitted, at_months(15)) == (date(2025, 3, 26), date(2025, 4, 10))
    due = next_size_due(BORN, Fitting(fitted, 18))
    assert due.latest == date(2025, 4, 10) + timedelta(days=68)
    slowest_days = (date(2025, 5, 26) - fitted).days
    assert slowest_days == 61
    fastest_days = (date(2025, 4, 26) - fitted).days
    assert fastest_days == 31
    assert due.earliest == date(2025, 4, 10) + timedelta(days=int(61 * (1 - 15 / 31)))


def test_a_foot_fitted_on_the_day_of_a_new_band_takes_the_new_pace() -> None:
    due = next_size_due(BORN, Fitting(at_months(15), 18))
    assert (due.earliest, due.latest) == (at_months(17), at_months(18))


def test_a_boot_with_room_for_a_size_lasts_half_a_size_longer_for_each_half() -> None:
    fitting = Fitting(at_months(36), size=19, length_mm=105)  # the foot needs 18
    assert next_size_due(BORN, fitting).earliest == at_months(36 + 3 * 4)
    assert next_size_due(BORN, replace(fitting, size=18)).earliest == at_months(36 + 4)


def test_a_foot_that_has_outgrown_its_boot_is_due_at_once_in_the_size_it_needs() -> None:
    fitting = Fitting(at_months(20), size=17, length_mm=105)
    due = next_size_due(BORN, fitting)
    assert due.outgrown
    assert due.size == 18
    assert due.prompt_on == due.earliest == due.latest == at_months(20)
    assert "larger boot" in due.note


def test_a_foot_that_fits_its_boot_has_not_outgrown_it() -> None:
    due = next_size_due(BORN, Fitting(at_months(20), size=18, length_mm=105))
    assert not due.outgrown
    assert due.size == 18.5
    assert "spurts" in due.note


def test_without_a_length_the_boot_is_taken_as_right_on_the_day() -> None:
    with_length = next_size_due(BORN, Fitting(at_months(20), size=18, length_mm=105))
    assert next_size_due(BORN, Fitting(at_months(20), size=18)) == with_length


def test_a_longer_foot_in_the_same_boot_is_due_sooner() -> None:
    shorter = next_size_due(BORN, Fitting(at_months(20), size=19, length_mm=105))
    longer = next_size_due(BORN, Fitting(at_months(20), size=19, length_mm=110))
    assert longer.earliest < shorter.earliest


def test_staff_hear_of_it_the_early_prompt_before_the_earliest_day() -> None:
    due = next_size_due(BORN, Fitting(at_months(30), 20), BootSettings(early_prompt=Span(days=10)))
    assert due.prompt_on == at_months(33) - timedelta(days=10)


def test_the_prompt_never_lies_before_the_measurement() -> None:
    due = next_size_due(BORN, Fitting(at_months(2), 14), BootSettings(early_prompt=Span(months=3)))
    assert due.prompt_on == at_months(2)


def test_the_note_says_where_the_published_ages_begin_and_end() -> None:
    assert "start at one year" in next_size_due(BORN, Fitting(at_months(6), 15)).note
    assert "end at five years" in next_size_due(BORN, Fitting(at_months(58), 26)).note
    between = next_size_due(BORN, Fitting(at_months(24), 20)).note
    assert "one year" not in between
    assert "five years" not in between


def test_each_foot_has_its_own_size_and_day() -> None:
    affected = next_size_due(BORN, Fitting(at_months(20), size=18, length_mm=105))
    other = next_size_due(BORN, Fitting(at_months(20), size=20, length_mm=115))
    assert affected.size < other.size
    assert affected.earliest != other.earliest


def test_a_smaller_share_of_the_published_time_brings_the_day_forward() -> None:
    fitting = Fitting(at_months(36), 22)
    assert next_size_due(BORN, fitting, BootSettings(time_share=0.5)).latest == date(2027, 3, 11)  # 60 of 120 days
    assert next_size_due(BORN, fitting).latest == date(2027, 5, 10)


def test_a_measurement_before_birth_is_refused() -> None:
    with pytest.raises(ValueError, match="before birth"):
        next_size_due(BORN, Fitting(BORN - timedelta(days=1), 18))


@pytest.mark.parametrize(("size", "fault"), [(18.25, "half size"), (4.5, "5 to 38"), (105, "5 to 38")])
def test_a_size_that_cannot_be_is_refused(size: float, fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        Fitting(TODAY, size)


def test_a_fitting_with_an_impossible_length_is_refused() -> None:
    with pytest.raises(ValueError, match=r"foot length 10\.5 mm"):
        Fitting(TODAY, 18, length_mm=10.5)


@pytest.mark.parametrize(
    "bands",
    [
        (),
        PUBLISHED_GROWTH[:-1],
        (*PUBLISHED_GROWTH, PUBLISHED_GROWTH[-1]),
        PUBLISHED_GROWTH[::-1],
        (GrowthBand(None, shortest=Span(months=3), longest=Span(months=2)),),
        (GrowthBand(None, shortest=Span(days=1), longest=Span(months=2)),),
    ],
)
def test_growth_bands_without_order_or_end_are_refused(bands: tuple[GrowthBand, ...]) -> None:
    with pytest.raises(ValueError, match="growth bands"):
        BootSettings(growth=bands)


@given(DAYS, AGES_IN_DAYS, SIZES, st.none() | LENGTHS, ALLOWANCES, SHARES)
def test_dates_stand_in_order_and_never_before_the_measurement(
    born: date, age: int, size: float, length: float | None, allowance: float, share: float
) -> None:
    fitting = Fitting(born + timedelta(days=age), size, length)
    due = next_size_due(born, fitting, BootSettings(allowance_mm=allowance, time_share=share))
    assert fitting.measured_on <= due.prompt_on <= due.earliest <= due.latest
    assert (due.earliest == fitting.measured_on) == due.outgrown
    assert due.size > size


@given(DAYS, AGES_IN_DAYS, AGES_IN_DAYS, SIZES)
def test_a_foot_measured_later_is_never_due_earlier(born: date, one: int, other: int, size: float) -> None:
    first, second = (next_size_due(born, Fitting(born + timedelta(days=age), size)) for age in sorted((one, other)))
    slack = timedelta(days=4)  # months are of unequal length: 28 Feb and 31 Jan + 1 month are the same day
    assert first.earliest <= second.earliest + slack
    assert first.latest <= second.latest + slack


@given(DAYS, AGES_IN_DAYS, LENGTHS, LENGTHS, SIZES)
def test_of_two_feet_in_one_boot_size_the_longer_is_never_due_later(
    born: date, age: int, one: float, other: float, size: float
) -> None:
    measured_on = born + timedelta(days=age)
    shorter, longer = (next_size_due(born, Fitting(measured_on, size, mm)) for mm in sorted((one, other)))
    assert longer.earliest <= shorter.earliest
    assert longer.latest <= shorter.latest
    assert longer.size >= shorter.size


def child(
    months: int, size: float, clinic: str = "tall-grass", ago: int = 0, right: float | None = None
) -> ChildInBoots:
    """A child of that age today, fitted so many days ago; the right boot as the left unless it is given."""
    fitted = TODAY - timedelta(days=ago)
    return ChildInBoots(clinic, add_months(TODAY, -months), Fitting(fitted, size), Fitting(fitted, right or size))


def test_a_child_of_three_needs_one_boot_a_side_in_six_months_and_none_in_three() -> None:
    none, one = Spread(0, 0, 0), Spread(1, 1, 1)
    assert boots_needed([child(40, 24)], TODAY).needs == (
        SizeNeed("tall-grass", 24.5, "left", none, one),
        SizeNeed("tall-grass", 24.5, "right", none, one),
    )


def test_sizes_are_counted_for_each_foot_singly() -> None:
    needs = boots_needed([child(40, 23, right=24.5)], TODAY).needs
    assert [(need.side, need.size) for need in needs] == [("left", 23.5), ("right", 25.0)]


def test_the_spread_runs_from_slow_to_fast_growth() -> None:
    # Fitted today at 18 months: the first half size in 2 to 3 months, 1 May to 1 June, so by 1 June in any case; the
    # second in 4 to 6, between 1 July and 1 September; the third from 1 September on if the foot grows fast.
    left = [need for need in boots_needed([child(18, 18)], TODAY).needs if need.side == "left"]
    assert [(need.size, need.in_3_months, need.in_6_months) for need in left] == [
        (18.5, Spread(1, 1, 1), Spread(1, 1, 1)),
        (19.0, Spread(0, 0, 0), Spread(1, 1, 1)),
        (19.5, Spread(0, 0, 0), Spread(0, 0, 1)),
    ]


@pytest.mark.parametrize(("fitted", "spread"), [(date(2026, 1, 11), (0, 0, 1)), (date(2025, 12, 28), (0, 1, 1))])
def test_what_is_expected_lies_halfway_between_slow_and_fast(fitted: date, spread: tuple[int, int, int]) -> None:
    # The second half size comes in 4 to 6 months: 11 May to 11 July, halfway 10 June; or 28 April to 28 June, 28 May.
    # Three months from today end on 1 June.
    needs = boots_needed([child(18, 18, ago=(TODAY - fitted).days)], TODAY).needs
    assert [need.in_3_months for need in needs if need.size == 19.0] == [Spread(*spread)] * 2


def test_an_overdue_boot_is_still_needed() -> None:
    (left, _) = boots_needed([child(48, 25, ago=5 * 30)], TODAY).needs[:2]
    assert left.size == 25.5
    assert left.in_3_months.low == 1


def test_a_size_outgrown_while_nobody_measured_is_not_ordered() -> None:
    sizes = {need.size for need in boots_needed([child(48, 25, ago=9 * 31)], TODAY).needs}
    assert 25.5 not in sizes
    assert 26.0 in sizes


def test_the_needs_of_children_add_up_by_clinic_and_size() -> None:
    cast = [child(40, 24), child(41, 24), child(40, 24, clinic="river-bend")]
    left = [need for need in boots_needed(cast, TODAY).needs if need.side == "left"]
    assert [(need.clinic, need.in_6_months.expected) for need in left] == [("river-bend", 1), ("tall-grass", 2)]


def test_no_boots_are_counted_for_days_after_the_end_of_bracing() -> None:
    braced = child(46, 24)  # due in four months, when bracing has ended for two
    assert boots_needed([braced], TODAY).needs
    assert not boots_needed([replace(braced, ends_on=add_months(TODAY, 2))], TODAY).needs
    assert not boots_needed([replace(braced, ends_on=add_months(TODAY, 4))], TODAY).needs
    assert boots_needed([replace(braced, ends_on=add_months(TODAY, 4) + timedelta(days=1))], TODAY).needs


def test_a_child_who_no_longer_wears_the_brace_does_not_count_at_all() -> None:
    outlook = boots_needed([replace(child(49, 24, ago=200), ends_on=TODAY)], TODAY)
    assert outlook.needs == outlook.clinics == ()


def test_feet_without_a_fitting_are_told_and_not_guessed() -> None:
    outlook = boots_needed([replace(child(40, 24), right=None)], TODAY)
    (clinic,) = outlook.clinics
    assert (clinic.feet, clinic.no_fitting) == (1, 1)
    assert {need.side for need in outlook.needs} == {"left"}


def test_feet_that_may_be_two_half_sizes_on_are_to_be_measured_first() -> None:
    (clinic,) = boots_needed([child(18, 18, ago=130), child(40, 24)], TODAY).clinics
    assert (clinic.feet, clinic.measure_first) == (4, 2)


@pytest.mark.parametrize(("fitted", "measure_first"), [(date(2025, 11, 1), 2), (date(2025, 11, 2), 0)])
def test_the_day_the_second_half_size_may_be_due_is_the_first_to_measure(fitted: date, measure_first: int) -> None:
    (clinic,) = boots_needed([child(20, 18, ago=(TODAY - fitted).days)], TODAY).clinics
    assert clinic.measure_first == measure_first


def test_the_outlook_says_that_feet_grow_in_spurts() -> None:
    assert "spurts" in boots_needed([], TODAY).note


def test_a_measurement_after_today_is_refused() -> None:
    with pytest.raises(ValueError, match="after today"):
        boots_needed([child(18, 18, ago=-1)], TODAY)


FITTINGS = st.none() | st.builds(
    Fitting,
    st.dates(date(2025, 3, 1), TODAY),
    st.integers(30, 44).map(lambda half_sizes: half_sizes / 2),
    st.none() | st.integers(90, 150).map(float),
)
CHILDREN = st.builds(
    ChildInBoots,
    st.sampled_from(["tall-grass", "river-bend"]),
    st.dates(date(2021, 1, 1), date(2025, 3, 1)),
    FITTINGS,
    FITTINGS,
    st.none() | st.dates(date(2026, 1, 1), date(2027, 1, 1)),
)


@given(st.lists(CHILDREN, max_size=6))
def test_counts_rise_with_growth_and_with_time(children: list[ChildInBoots]) -> None:
    for need in boots_needed(children, TODAY).needs:
        soon, later = need.in_3_months, need.in_6_months
        assert 0 <= soon.low <= soon.expected <= soon.high
        assert later.high > 0
        assert later.low <= later.expected <= later.high
        assert soon.low <= later.low
        assert soon.expected <= later.expected
        assert soon.high <= later.high


@given(st.lists(CHILDREN, max_size=6).flatmap(lambda cast: st.tuples(st.just(cast), st.permutations(cast))))
def test_the_order_of_the_children_does_not_matter(casts: tuple[list[ChildInBoots], list[ChildInBoots]]) -> None:
    assert boots_needed(casts[0], TODAY) == boots_needed(casts[1], TODAY)


@given(CHILDREN, CHILDREN)
def test_the_needs_of_two_children_are_the_sum_of_each(one: ChildInBoots, other: ChildInBoots) -> None:
    def totals(cast: list[ChildInBoots]) -> int:
        return sum(need.in_6_months.high for need in boots_needed(cast, TODAY).needs)

    assert totals([one, other]) == totals([one]) + totals([other])


@given(CHILDREN)
def test_the_next_size_due_is_the_first_size_a_clinic_is_told_of(braced: ChildInBoots) -> None:
    assume(braced.left is not None)
    assert braced.left is not None
    fitted_today = replace(braced.left, measured_on=TODAY)
    due = next_size_due(braced.born, fitted_today)
    needs = boots_needed([replace(braced, left=fitted_today, right=None, ends_on=None)], TODAY).needs
    by_six_months = due.earliest <= add_months(TODAY, 6)
    assert bool(needs) == by_six_months
    if by_six_months:
        assert needs[0].size == due.size


def test_the_standard_settings_are_those_documented() -> None:
    assert (STANDARD.allowance_mm, STANDARD.early_prompt, STANDARD.time_share) == (15.0, Span(days=28), 1.0)
