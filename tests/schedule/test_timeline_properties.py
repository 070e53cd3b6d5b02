"""What holds for every course, whatever happened in it."""

import itertools
from datetime import date, timedelta

from histories import History, histories
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule.facts import Fact, FactKind
from bracewatch.schedule.plausible import LENGTHENED_LATE
from bracewatch.schedule.timeline import NO_LONGER_PLANNED, PAUSE, Timeline, moved

ONE_DAY = timedelta(days=1)


def days_of(timeline: Timeline) -> list[date]:
    first = timeline.phases[0].start.toordinal()
    return [date.fromordinal(day) for day in range(first, timeline.ends_on.toordinal())]


@given(histories())
def test_the_same_facts_make_the_same_timeline(history: History) -> None:
    assert history.timeline() == history.timeline()


@given(histories(), st.randoms())
def test_the_order_in_which_facts_arrive_does_not_matter(history: History, chance: object) -> None:
    facts = list(history.course.facts)
    chance.shuffle(facts)  # type: ignore[attr-defined]
    assert history.with_facts(*facts).timeline() == history.timeline()


@given(histories())
def test_phases_have_no_gap_and_no_overlap(history: History) -> None:
    timeline = history.timeline()
    assert timeline.phases[0].start == history.course.brace_start
    assert all(phase.start < phase.end for phase in timeline.phases)
    assert all(one.end == two.start for one, two in itertools.pairwise(timeline.phases))
    assert timeline.phases[-1].end == timeline.ends_on


@given(histories())
def test_hours_are_in_force_on_every_day_of_the_course_and_on_no_other(history: History) -> None:
    timeline = history.timeline()
    for day in days_of(timeline):
        phase = timeline.in_force(day)
        assert phase is not None
        assert (phase.key == PAUSE) == (phase.hours_high == 0)
    assert timeline.in_force(history.course.brace_start - ONE_DAY) is None
    assert timeline.in_force(timeline.ends_on) is None


@given(histories())
def test_the_end_is_never_before_the_last_decision(history: History) -> None:
    ends_on = history.timeline().ends_on
    assert all(word.on <= ends_on for word in history.course.opened().values())


@given(histories())
def test_the_end_is_never_before_the_brace_was_resumed(history: History) -> None:
    ends_on = history.timeline().ends_on
    assert all(fact.on <= ends_on for fact in history.course.all_of(FactKind.RESUMED))


@given(histories())
def test_the_end_that_the_clinic_named_is_the_end(history: History) -> None:
    if (end := history.course.end()) is not None:
        assert history.timeline().ends_on <= max(end.on, history.course.brace_start + ONE_DAY)


@given(histories())
def test_a_day_outside_its_window_was_chosen_by_the_clinic(history: History) -> None:
    for visit in history.timeline().visits:
        assert visit.on is None or visit.booked or visit.opens <= visit.on <= visit.closes
        assert visit.opens <= visit.due <= visit.closes
        assert visit.on == visit.due or visit.why


@given(histories())
def test_a_visit_without_a_day_is_cancelled_or_finds_its_window_closed(history: History) -> None:
    for visit in history.timeline().visits:
        if visit.on is None and not visit.cancelled:
            window = range(visit.opens.toordinal(), visit.closes.toordinal() + 1)
            assert not any(history.clinic.is_open(date.fromordinal(day)) for day in window)


@given(histories())
def test_visits_are_in_order_and_each_has_its_own_key(history: History) -> None:
    visits = history.timeline().visits
    assert [visit.due for visit in visits] == sorted(visit.due for visit in visits)
    assert len({visit.key for visit in visits}) == len(visits)


@given(histories(), st.data())
def test_a_visit_that_is_kept_changes_that_visit_alone(history: History, data: st.DataObject) -> None:
    before = history.timeline()
    planned = [visit for visit in before.visits if visit.kept is None]
    if not planned:
        return
    visit = data.draw(st.sampled_from(planned))
    on = data.draw(st.dates(history.course.brace_start, date(2045, 1, 1)))
    after = history.with_facts(*history.course.facts, Fact(1000, FactKind.VISIT_KEPT, on, visit.key)).timeline()
    assert after.phases == before.phases
    assert [v._replace(kept=None) if v.key == visit.key else v for v in after.visits] == list(before.visits)


@given(histories(), st.data())
def test_an_unplanned_visit_changes_nothing_before_its_day(history: History, data: st.DataObject) -> None:
    before = history.timeline()
    on = data.draw(st.dates(history.course.brace_start, date(2045, 1, 1)))
    after = history.with_facts(*history.course.facts, Fact(1000, FactKind.VISIT_KEPT, on)).timeline()
    assert after.phases == before.phases
    assert [v for v in after.visits if v.closes < on] == [v for v in before.visits if v.closes < on]


@given(histories(), st.data())
def test_lengthening_changes_no_visit_that_is_over(history: History, data: st.DataObject) -> None:
    facts = tuple(f for f in history.course.facts if f.kind not in (FactKind.LENGTHENED, FactKind.ENDED))
    history = history.with_facts(*facts)._replace(as_of=None)
    before = history.timeline()
    on = data.draw(st.dates(history.course.brace_start, before.ends_on + LENGTHENED_LATE))
    until = data.draw(st.dates(max(before.ends_on, on + ONE_DAY), before.ends_on + timedelta(days=900)))
    after = history.with_facts(*facts, Fact(1000, FactKind.LENGTHENED, on, "", until)).timeline()
    assert after.ends_on == max(before.ends_on, until)
    over = [[v for v in one.visits if v.closes < on and v.name != NO_LONGER_PLANNED] for one in (before, after)]
    assert over[0] == over[1]
    assert {v.kept for v in after.visits} == {v.kept for v in before.visits}


@given(histories(), histories(), st.integers(0, 2000))
def test_a_move_to_another_protocol_leaves_what_was_before_it(history: History, other: History, days: int) -> None:
    before = history.timeline()
    day = min(history.course.brace_start + timedelta(days), before.ends_on)
    after = moved(before, other.rules, history.course, history.clinic, day, history.as_of)
    assert all(one.end == two.start for one, two in itertools.pairwise(after.phases))
    assert all(phase.start < phase.end for phase in after.phases)
    for past in days_of(before):
        if past < day:
            held, was = after.in_force(past), before.in_force(past)
            assert held is not None
            assert was is not None
            assert (held.hours_low, held.hours_high, held.asks) == (was.hours_low, was.hours_high, was.asks)
    came, known = {visit.kept for visit in before.visits}, {visit.kept for visit in after.visits}
    assert came <= known | {None}
    assert {v for v in before.visits if v.kept is not None and v.kept < day} <= set(after.visits)
    assert [visit.due for visit in after.visits] == sorted(visit.due for visit in after.visits)
    assert len({visit.key for visit in after.visits}) == len(after.visits)
