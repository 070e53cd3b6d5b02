"""What the practice programme promises to show, whatever the day on which practice starts."""

from collections.abc import Iterator
from datetime import date, timedelta
from importlib import resources
from itertools import pairwise

import pytest
from babel import Locale
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bracewatch.demo.families import Behaviour, Clinic, Family, Programme, shipped
from bracewatch.messages import segments, wording
from bracewatch.messages.kinds import Asked, Kind
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, parse_weekdays
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.spans import Span
from bracewatch.schedule.timeline import Phase, Timeline, Visit, build

PROGRAMME = shipped()
TODAY = date(2026, 11, 24)
COMES = 0.9  # a share at which a family is counted on

whatever_day = given(st.dates(date(2024, 1, 1), date(2040, 12, 31)))
some_days = settings(max_examples=30, deadline=None)


def calendar(clinic: Clinic, today: date, *, closures: bool = True) -> ClinicCalendar:
    closed = {today + timedelta(days=day): why for day, why in clinic.closed_days.items()} if closures else {}
    return ClinicCalendar(parse_weekdays(clinic.clinic_days), closed)


def timeline(family: Family, today: date, *, closures: bool = True) -> Timeline:
    """The present course on day 0, its step-down made where the family came to that visit."""
    start = family.relapse.brace_start if family.relapse else family.brace_start
    rules = protocol.shipped(family.protocol)
    clinic = calendar(PROGRAMME.clinic_of(family), today, closures=closures)
    born, brace_start = today + timedelta(days=family.child.born), today + timedelta(days=start)
    planned = build(rules, Course(born, brace_start), clinic)
    facts = tuple(
        Fact(number, FactKind.GATE_OPENED, came, visit.decides)
        for number, visit in enumerate(planned.visits)
        if visit.decides and (came := comes_on(family, visit, today)) is not None and came <= today
    )
    return build(rules, Course(born, brace_start, facts), clinic, as_of=today)


def comes_on(family: Family, visit: Visit, today: date) -> date | None:
    if visit.on is None:
        return None
    day = (visit.on - today).days
    habit = PROGRAMME.behaviour_of(family, max(day, family.behaves[0].since))
    if habit.keeps_visits >= COMES:
        return visit.on
    return visit.on + timedelta(days=14) if habit.comes_after_follow_up >= COMES else None


def phase_on(family: Family, today: date) -> Phase:
    phase = timeline(family, today).in_force(today)
    assert phase is not None, family.key
    return phase


def habit_now(family: Family) -> Behaviour:
    return PROGRAMME.behaviour_of(family, 0)


def does_well(family: Family) -> bool:
    """Answers, comes and wears the brace, now and for the last two weeks, and asked for nothing lately."""
    habits = [PROGRAMME.behaviour_of(family, max(day, family.joined)) for day in range(-14, 1)]
    good = all(
        habit.answers >= 0.8 and habit.keeps_visits >= COMES and habit.hours[0] >= 14 and habit.nights[0] >= 6
        for habit in habits
    )
    return good and not any(saying.day >= -28 for saying in family.says)


def families_that(programme: Programme = PROGRAMME, **habit: object) -> list[Family]:
    wanted = habit.items()
    return [
        family for family in programme.families if all(getattr(habit_now(family), name) == is_ for name, is_ in wanted)
    ]


def test_there_are_at_least_forty_families_and_three_clinics() -> None:
    assert len(PROGRAMME.families) >= 40
    assert len(PROGRAMME.clinics) == 3
    assert {family.clinic for family in PROGRAMME.families} == {clinic.key for clinic in PROGRAMME.clinics}


def test_the_clinics_lie_in_three_time_zones_of_their_own_countries() -> None:
    # tzdata's zone.tab lists the countries of each zone. READ
    table = (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    country_of = {row[2]: row[0] for line in table.splitlines() if not line.startswith("#") if (row := line.split())}
    zones = {clinic.time_zone: clinic.country for clinic in PROGRAMME.clinics}
    assert len(zones) == 3
    assert zones == {zone: country_of[zone] for zone in zones}


def test_the_clinics_keep_the_three_weekends_of_their_countries() -> None:
    # The weekend of a country as the Unicode locale data (CLDR) has it. READ
    assert len({clinic.weekend for clinic in PROGRAMME.clinics}) == 3
    for clinic in PROGRAMME.clinics:
        country = Locale.parse(f"und_{clinic.country}")
        assert parse_weekdays(clinic.weekend) == {country.weekend_start, country.weekend_end}


def test_every_text_of_every_clinic_fits_two_parts() -> None:
    for family in PROGRAMME.families:
        clinic = PROGRAMME.clinic_of(family)
        known = {"clinic": clinic.name, "phone": clinic.phone, "day": date(2026, 9, 30)}
        for kind in Kind:
            facts = {name: known[name] for name in wording.needed_facts(kind)}
            text = wording.word(kind, language=family.caregiver.language, **facts)
            assert segments.measure(text).parts <= 2, (family.key, kind)


def test_four_languages_are_spoken_and_each_has_phrases() -> None:
    assert {family.caregiver.language for family in PROGRAMME.families} == {"en", "sw", "ar", "hi"}
    assert set(PROGRAMME.phrases) == {"en", "sw", "ar", "hi"}


@pytest.mark.parametrize(("language", "first", "last"), [("ar", "\u0621", "\u06ff"), ("hi", "\u0901", "\u097f")])
def test_names_stand_in_the_script_of_the_language_and_in_latin_letters(language: str, first: str, last: str) -> None:
    names = [family.child.name for family in PROGRAMME.families if family.caregiver.language == language]
    own = [name for name in names if all(first <= letter <= last for letter in name)]
    latin = [name for name in names if name.isascii()]
    assert len(own) >= 5
    assert len(latin) >= 4
    assert len(own) + len(latin) == len(names)


@whatever_day
@example(date(2028, 2, 29))
@some_days
def test_a_child_is_in_every_phase_of_both_protocols_it_follows(today: date) -> None:
    there_are = {
        (rules.id, variant.key, phase.key)
        for rules in map(protocol.shipped, ("nights-to-four", "graded-step-down"))
        for variant in rules.variant
        for phase in variant.phase
    }
    shown = {
        (family.protocol, timeline(family, today).variant, phase_on(family, today).key) for family in PROGRAMME.families
    }
    assert shown == there_are


def test_some_children_have_only_just_started() -> None:
    assert {-1, -3, -10} <= {family.brace_start for family in PROGRAMME.families}


@whatever_day
@some_days
def test_the_step_down_of_some_children_is_due_within_ten_days(today: date) -> None:
    near = [family for family in PROGRAMME.families if 0 <= (step_down_due(family, today) - today).days <= 10]
    assert len(near) >= 3
    assert all(does_well(family) for family in near)


def step_down_due(family: Family, today: date) -> date:
    return next((visit.due for visit in timeline(family, today).visits if visit.decides), date.max)


@pytest.mark.parametrize("months", [6, 12, 24, 36])
def test_a_child_wears_the_brace_at_night_after_so_many_months(months: int) -> None:
    started = Span(months=months).before(TODAY)
    at_night = [
        family
        for family in PROGRAMME.families
        if phase_on(family, TODAY).asks == "nights"
        and abs((TODAY + timedelta(days=family.brace_start) - started).days) <= 15
    ]
    assert at_night


def test_a_child_turns_four_within_sixty_days() -> None:
    birthdays = [Span(months=48).after(TODAY + timedelta(days=family.child.born)) for family in PROGRAMME.families]
    assert any(0 < (birthday - TODAY).days <= 60 for birthday in birthdays)


def test_every_side_and_every_kind_of_foot_is_there() -> None:
    assert {family.sides for family in PROGRAMME.families} == {"left", "right", "both"}
    assert {family.foot for family in PROGRAMME.families} == {"typical", "atypical", "loose"}


@pytest.mark.parametrize(("low", "high"), [(9.5, 10.5), (29, 31), (48, 60)])
def test_some_children_were_corrected_late(low: float, high: float) -> None:
    ages = [
        (family.brace_start - family.child.born) / 30.44
        for family in PROGRAMME.families
        if family.protocol == "graded-step-down"
    ]
    assert any(low <= age < high for age in ages)


def test_exactly_one_child_relapsed_and_is_in_full_time_again() -> None:
    (family,) = [family for family in PROGRAMME.families if family.relapse]
    assert phase_on(family, TODAY).key == "full-time"


def test_every_behaviour_is_shown_by_some_family() -> None:
    shown = {spell.behaviour for family in PROGRAMME.families for spell in family.behaves}
    assert shown == set(PROGRAMME.behaviours)


def test_families_answer_in_words_in_every_language() -> None:
    chatty = {family.caregiver.language for family in families_that(words=True)}
    assert chatty == set(PROGRAMME.phrases)


def test_a_figure_can_be_said_in_words_in_every_language() -> None:
    for phrases in PROGRAMME.phrases.values():
        assert len(phrases.ways_to_say(Asked.HOURS, 22)) > len(phrases.ways_to_say(Asked.HOURS, 3)) >= 2
        assert len(phrases.ways_to_say(Asked.NIGHTS, 7)) > len(phrases.ways_to_say(Asked.NIGHTS, 1)) >= 1
        assert all("3" in way for way in phrases.ways_to_say(Asked.HOURS, 3))


def test_no_figure_answers_whether_a_family_comes() -> None:
    with pytest.raises(ValueError, match="use hours or nights"):
        PROGRAMME.phrases["en"].ways_to_say(Asked.COMING, 1)


@whatever_day
@some_days
def test_several_children_in_full_time_are_reported_with_low_wear(today: date) -> None:
    low = [
        family
        for family in PROGRAMME.families
        if phase_on(family, today).key == "full-time"
        and habit_now(family).answers == 1
        and habit_now(family).hours[1] < 0.7 * 23
    ]
    assert len(low) >= 3


def test_nights_fall_step_by_step_in_some_family() -> None:
    falling = [
        family
        for family in PROGRAMME.families
        if phase_on(family, TODAY).asks == "nights"
        and len(family.behaves) >= 4
        and all(later[1] < before[1] for before, later in pairwise(nights_of(family)))
    ]
    assert falling


def nights_of(family: Family) -> list[tuple[int, int]]:
    return [PROGRAMME.behaviours[spell.behaviour].nights for spell in family.behaves]


@whatever_day
@some_days
def test_two_families_left_two_check_ins_unanswered_and_were_not_seen_since(today: date) -> None:
    silent = [
        family
        for family in families_that(answers=0, phone_dead=False)
        if -family.behaves[-1].since >= 2 * phase_on(family, today).check_in_days + 2
        and not visits_between(family, today, family.behaves[-1].since, 0)
    ]
    assert len(silent) >= 2


def test_the_network_refuses_the_number_of_some_family() -> None:
    assert families_that(phone_dead=True)


@whatever_day
@some_days
def test_several_visits_were_missed_and_one_of_them_decides_the_step_down(today: date) -> None:
    missed = [
        visit
        for family in families_that(keeps_visits=0, comes_after_follow_up=0)
        for visit in visits_between(family, today, family.behaves[-1].since, -2)
    ]
    assert len(missed) >= 3
    assert any(visit.decides for visit in missed)


def visits_between(family: Family, today: date, first: int, last: int) -> list[Visit]:
    return [
        visit
        for visit in timeline(family, today).visits
        if visit.on is not None and first <= (visit.on - today).days <= last
    ]


def sayings_of_this_week() -> Iterator[tuple[Family, int]]:
    for family in PROGRAMME.families:
        for saying in family.says:
            if saying.day >= -7:
                yield family, saying.day


def test_families_of_every_language_wrote_this_week() -> None:
    written = [family for family, _ in sayings_of_this_week()]
    assert {family.caregiver.language for family in written} == {"en", "sw", "ar", "hi"}
    assert len({family.key for family in written}) >= 8


@whatever_day
@some_days
def test_no_visit_has_settled_what_families_wrote_this_week(today: date) -> None:
    for family, day in sayings_of_this_week():
        assert not visits_between(family, today, day, 0), family.key


@whatever_day
@some_days
def test_a_holiday_moves_visits_of_two_families(today: date) -> None:
    moved = [
        family.key
        for family in PROGRAMME.families
        for with_it, without in zip(
            timeline(family, today).visits, timeline(family, today, closures=False).visits, strict=True
        )
        if with_it.on != without.on and with_it.on is not None and without.on is not None and without.on > today
    ]
    assert len(set(moved)) >= 2


def test_most_families_do_well() -> None:
    well = [family for family in PROGRAMME.families if does_well(family)]
    assert len(well) >= 0.6 * len(PROGRAMME.families)


def test_the_behaviour_of_a_day_is_that_of_its_spell() -> None:
    family = next(family for family in PROGRAMME.families if len(family.behaves) >= 2)
    first, second = family.behaves[:2]
    assert family.behaves_on(first.since) == first.behaviour
    assert family.behaves_on(second.since - 1) == first.behaviour
    assert family.behaves_on(second.since) == second.behaviour
    with pytest.raises(ValueError, match="before its first spell"):
        family.behaves_on(first.since - 1)
