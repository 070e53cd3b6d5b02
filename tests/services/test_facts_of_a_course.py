"""Facts of a course: written down when they can be, refused with what contradicts what when they cannot."""

from datetime import date, timedelta

import pytest
from world import MOTHER, NOW, World

from bracewatch.messages.adapter import NotSent, Outcome
from bracewatch.schedule.facts import FactKind
from bracewatch.services import facts, visits
from bracewatch.services.facts import FactRefused
from bracewatch.services.visits import VisitRefused
from bracewatch.store import cases
from bracewatch.store import tables as t


def timeline_of(world: World, child_id: int):  # type: ignore[no-untyped-def]
    with world.store.read() as connection:
        return cases.load(connection, [child_id], world.now)[0].timeline


def later(world: World, days: int) -> None:
    world.now = NOW + timedelta(days=days)


def test_a_paused_brace_asks_nothing_and_goes_on_when_it_is_resumed(world: World) -> None:
    child_id = world.enrol()
    later(world, 20)
    facts.record(world.store, child_id, FactKind.PAUSED, date(2026, 9, 20), world.now, about="skin")
    assert timeline_of(world, child_id).in_force(date(2026, 9, 21)).key == "paused"
    world.live_until(NOW + timedelta(days=40))
    assert world.rows(t.outbox, t.outbox.c.kind == "check_in_hours") == []
    facts.record(world.store, child_id, FactKind.RESUMED, date(2026, 10, 10), world.now)
    assert timeline_of(world, child_id).in_force(date(2026, 10, 11)).key == "full-time"
    assert timeline_of(world, child_id).in_force(date(2026, 9, 25)).key == "paused"
    world.live_until(NOW + timedelta(days=60))
    assert len(world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")) == 3


@pytest.mark.parametrize(
    ("kind", "on", "about", "until", "said"),
    [
        (FactKind.RESUMED, date(2026, 9, 20), "", None, "it was not paused then"),
        (FactKind.PAUSED, date(2026, 8, 20), "skin", None, "before the brace start"),
        (FactKind.PAUSED, date(2026, 12, 20), "skin", None, "ahead of today"),
        (FactKind.GATE_OPENED, date(2026, 9, 20), "no-such-gate", None, "no decision 'no-such-gate'"),
        (FactKind.GATE_OPENED, date(2026, 8, 20), "step-down", None, "before the brace start"),
        (FactKind.GATE_HELD, date(2026, 9, 20), "step-down", None, "does not say until when"),
        (FactKind.GATE_HELD, date(2026, 9, 20), "step-down", date(2026, 9, 1), "not after it"),
        (FactKind.VISIT_KEPT, date(2026, 9, 20), "no-such-visit", None, "no visit 'no-such-visit'"),
        (FactKind.VISIT_BOOKED, date(2028, 9, 20), "first-fit", None, "more than a year ahead"),
    ],
)
def test_what_cannot_have_happened_is_refused_and_nothing_changes(
    world: World, kind: FactKind, on: date, about: str, until: date | None, said: str
) -> None:
    child_id = world.enrol()
    later(world, 30)
    with pytest.raises(FactRefused, match=said):
        facts.record(world.store, child_id, kind, on, world.now, about=about, until=until)
    assert world.rows(t.course_fact) == []


def test_a_second_pause_names_the_first(world: World) -> None:
    child_id = world.enrol()
    later(world, 30)
    facts.record(world.store, child_id, FactKind.PAUSED, date(2026, 9, 10), world.now, about="skin")
    with pytest.raises(FactRefused, match="paused already since 2026-09-10"):
        facts.record(world.store, child_id, FactKind.PAUSED, date(2026, 9, 20), world.now, about="skin")
    assert len(world.rows(t.course_fact)) == 1


def test_nothing_of_the_brace_happens_after_its_end(world: World) -> None:
    child_id = world.enrol()
    later(world, 60)
    facts.record(world.store, child_id, FactKind.ENDED, date(2026, 10, 1), world.now, about="relapse")
    with pytest.raises(FactRefused, match="after the end of bracing on 2026-10-01"):
        facts.record(world.store, child_id, FactKind.PAUSED, date(2026, 10, 5), world.now, about="skin")


def test_a_step_that_was_held_leaves_full_time_in_force_until_it_is_opened(world: World) -> None:
    child_id = world.enrol()
    later(world, 92)
    visits.hold_gate(world.store, child_id, "step-down", date(2026, 12, 1), date(2027, 2, 1), world.now)
    assert timeline_of(world, child_id).phases[0].end == date(2027, 2, 1)
    later(world, 155)
    visits.record_kept(world.store, child_id, "step-down", date(2027, 2, 3), world.now, opens_gate=True)
    assert [phase.start for phase in timeline_of(world, child_id).phases] == [date(2026, 9, 1), date(2027, 2, 3)]


def test_an_unplanned_visit_counts_as_the_planned_one_whose_window_it_falls_in(world: World) -> None:
    child_id = world.enrol()
    later(world, 15)
    visits.record_unplanned(world.store, child_id, date(2026, 9, 14), world.now)
    assert timeline_of(world, child_id).visits[0].kept == date(2026, 9, 14)
    visits.record_unplanned(world.store, child_id, date(2026, 9, 16), world.now)
    assert "unplanned-2026-09-16" in {visit.key for visit in timeline_of(world, child_id).visits}
    world.live_until(NOW + timedelta(days=20))
    assert "missed-visit" not in world.flags()


def test_a_cancelled_visit_is_neither_reminded_of_nor_missed_and_can_be_booked_again(world: World) -> None:
    child_id = world.enrol()
    world.tick()
    visits.cancel(world.store, child_id, "first-fit", world.now)
    world.live_until(NOW + timedelta(days=20))
    assert "missed-visit" not in world.flags()
    assert world.rows(t.outbox, t.outbox.c.kind.in_(["visit_reminder", "missed_visit"])) == []
    visits.move(world.store, child_id, "first-fit", date(2026, 9, 29), world.now)
    world.live_until(NOW + timedelta(days=26))
    assert len(world.rows(t.outbox, t.outbox.c.kind == "visit_reminder")) == 1


def test_a_kept_visit_cannot_be_cancelled(world: World) -> None:
    child_id = world.enrol()
    later(world, 15)
    visits.record_kept(world.store, child_id, "first-fit", date(2026, 9, 15), world.now)
    with pytest.raises(VisitRefused, match="was kept"):
        visits.cancel(world.store, child_id, "first-fit", world.now)


def test_the_history_of_a_visit_is_kept(world: World) -> None:
    child_id = world.enrol()
    world.tick()
    for day in (22, 29):
        visits.move(world.store, child_id, "first-fit", date(2026, 9, day), world.now)
    visits.cancel(world.store, child_id, "first-fit", world.now)
    history = [(row.kind, row.on_day) for row in world.rows(t.course_fact, t.course_fact.c.about == "first-fit")]
    assert history == [
        ("visit_held", date(2026, 9, 15)),
        ("visit_booked", date(2026, 9, 22)),
        ("visit_booked", date(2026, 9, 29)),
        ("visit_cancelled", date(2026, 9, 1)),
    ]


def test_a_visit_that_has_come_near_is_held_on_its_day_whatever_the_clinic_does_later(world: World) -> None:
    child_id = world.enrol()
    world.tick()
    with world.store.begin() as connection:
        connection.execute(t.clinic.update().values(clinic_days="thu"))
    visit = timeline_of(world, child_id).visits[0]
    assert (visit.on, visit.booked) == (date(2026, 9, 15), True)
    assert timeline_of(world, child_id).visits[1].on == date(2026, 12, 3)


@pytest.mark.parametrize("change", ["moved", "cancelled", "unchanged"])
def test_a_reminder_that_waits_goes_out_only_while_its_visit_stands(world: World, change: str) -> None:
    child_id = world.enrol()
    world.live_until(NOW + timedelta(days=11, hours=5))
    world.now = NOW + timedelta(days=11, hours=6)  # 18:00 where the family lives, three days before the visit
    world.network.failures = [NotSent(Outcome.TRANSIENT, "20429", "busy")]
    world.tick()
    if change == "moved":
        visits.move(world.store, child_id, "first-fit", date(2026, 9, 22), world.now)
    elif change == "cancelled":
        visits.cancel(world.store, child_id, "first-fit", world.now)
    world.live_until(world.now + timedelta(hours=2))
    sent = world.rows(t.outbox, t.outbox.c.kind == "visit_reminder", t.outbox.c.state == "sent")
    assert len(sent) == (1 if change == "unchanged" else 0)


def test_a_step_taken_back_can_be_written_down_on_the_day_it_was_made(world: World) -> None:
    child_id = world.enrol()
    later(world, 100)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 8), world.now, opens_gate=True)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    assert timeline_of(world, child_id).phases[0].end == date(2026, 12, 1)
    visits.take_decision_back(world.store, child_id, "step-down", world.now)
    assert timeline_of(world, child_id).phases[0].gate_open is False
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    assert timeline_of(world, child_id).phases[0].end == date(2026, 12, 1)


def test_a_step_that_was_made_is_not_held_afterwards(world: World) -> None:
    child_id = world.enrol()
    later(world, 160)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    with pytest.raises(VisitRefused, match="the step was made on 2026-12-01: take that back first"):
        visits.hold_gate(world.store, child_id, "step-down", date(2027, 2, 1), date(2027, 3, 1), world.now)
    assert timeline_of(world, child_id).phases[0].end == date(2026, 12, 1)


def test_a_wrong_end_is_corrected_by_a_later_word_or_taken_back(world: World) -> None:
    child_id = world.enrol()
    later(world, 100)
    facts.record(world.store, child_id, FactKind.ENDED, date(2026, 11, 1), world.now, about="clinic")
    facts.record(world.store, child_id, FactKind.ENDED, date(2026, 12, 1), world.now, about="clinic")
    assert timeline_of(world, child_id).ends_on == date(2026, 12, 1)
    facts.record(world.store, child_id, FactKind.END_TAKEN_BACK, world.now.date(), world.now)
    assert timeline_of(world, child_id).ends_on == date(2030, 7, 1)


def test_a_visit_is_not_moved_to_a_full_day_and_a_closed_one_is_flagged(world: World) -> None:
    with world.store.begin() as connection:
        connection.execute(t.clinic.update().values(daily_capacity=1))
    first = world.enrol()
    world.tick()
    second = world.enrol(phone="+442079460002")
    with pytest.raises(VisitRefused, match="2026-09-15 is fully booked"):
        visits.move(world.store, second, "first-fit", date(2026, 9, 15), world.now)
    with world.store.begin() as connection:
        day = {"clinic_id": world.clinic_id, "day": date(2026, 9, 15), "reason": "flood"}
        connection.execute(t.clinic_closed_day.insert().values(day))
    world.live_until(NOW + timedelta(days=3))
    flags = world.rows(t.flag, t.flag.c.code == "no-clinic-day", t.flag.c.child_id == first)
    assert "closed: flood" in flags[0].sentence


def test_the_day_of_a_course_that_ended_is_free_again(world: World) -> None:
    with world.store.begin() as connection:
        connection.execute(t.clinic.update().values(daily_capacity=1))
    first = world.enrol()
    world.tick()
    facts.record(world.store, first, FactKind.ENDED, date(2026, 9, 10), world.now, about="clinic")
    second = world.enrol(phone="+442079460002")
    world.tick()
    assert timeline_of(world, second).visits[0].on == date(2026, 9, 15)


def test_a_full_day_sends_the_next_child_to_another(world: World) -> None:
    with world.store.begin() as connection:
        connection.execute(t.clinic.update().values(daily_capacity=1, clinic_days="mon,tue"))
    first, second, third = (world.enrol(phone=phone) for phone in (MOTHER, "+442079460002", "+442079460003"))
    world.tick()
    days = [timeline_of(world, child_id).visits[0].on for child_id in (first, second, third)]
    assert days == [date(2026, 9, 15), date(2026, 9, 14), date(2026, 9, 21)]
