"""The whole way, on a real database: reminders out, replies in, flags raised and cleared, calls recorded."""

from datetime import date, timedelta

import pytest
from world import MOTHER, NOW, World

from bracewatch.schedule.timeline import Phase
from bracewatch.services import calls, inbox, people, visits
from bracewatch.services.calls import CallRefused
from bracewatch.services.reviewing import review_due
from bracewatch.services.visits import VisitRefused
from bracewatch.store import cases
from bracewatch.store import tables as t


def test_four_hours_in_full_time_raise_low_wear_within_one_tick_and_two_good_days_clear_it(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert world.said() == ["welcome", "check_in_hours"]
    world.reply("4")
    assert world.flags() == ["low-wear"]
    assert world.said()[-1] == "thanks"
    world.now += timedelta(days=1)
    world.reply("23")
    assert world.flags() == ["low-wear"]
    world.now += timedelta(days=1)
    world.reply("23")
    assert world.flags() == []
    history = world.rows(t.flag)
    assert [(row.code, row.cleared_at) for row in history] == [("low-wear", world.now)]


def test_a_good_answer_raises_nothing(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply("22")
    assert world.flags() == []
    report = world.rows(t.wear_report)[0]
    assert (report.kind, report.day, report.low) == ("hours", date(2026, 9, 2), 22)


def test_the_same_tick_run_twice_sends_nothing_twice(world: World) -> None:
    world.enrol()
    for _ in range(3):
        world.tick()
    world.live_until(NOW + timedelta(days=40))
    review_due(world.store, world.now)
    world.tick()
    keys = [row.key for row in world.rows(t.outbox)]
    assert len(keys) == len(set(keys)) == len(world.network.handed)


def test_a_reply_delivered_twice_is_one_reply(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert world.reply("4", sid="one") is not None
    assert world.reply("4", sid="one") is None
    assert len(world.rows(t.inbound)) == len(world.rows(t.wear_report)) == 1


def test_sore_skin_is_flagged_and_answered_until_somebody_has_spoken(world: World) -> None:
    child_id = world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply("20 but her heel is red and sore")
    assert world.flags() == ["sore-skin"]
    assert world.said()[-1] == "trouble_heard"
    assert world.rows(t.wear_report)[0].low == 20
    calls.record(world.store, child_id, "no_answer", world.now + timedelta(minutes=1))
    world.now += timedelta(minutes=2)
    world.tick()
    assert world.flags() == ["sore-skin"]
    calls.record(world.store, child_id, "spoke", world.now, note="Boot loosened, comes on Tuesday")
    world.tick()
    assert world.flags() == []


def test_a_reply_nobody_can_read_is_kept_raw_asked_once_more_then_goes_to_staff(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply("xyzzy plugh")
    assert world.said()[-1] == "ask_again_hours"
    assert world.flags() == []
    world.now += timedelta(minutes=5)
    world.reply("fnord")
    assert [row.body for row in world.rows(t.inbound)] == ["xyzzy plugh", "fnord"]
    assert world.flags() == ["unread-reply"]
    assert world.said()[-1] == "call_heard"
    inbox.handle(world.store, world.rows(t.inbound)[-1].id, world.now)
    world.tick()
    assert world.flags() == []


@pytest.mark.parametrize("body", ["25", "-3", "100"])
def test_hours_out_of_range_are_asked_again_never_clipped(world: World, body: str) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply(body)
    assert world.rows(t.wear_report) == []
    assert world.said()[-1] == "ask_again_hours"


def test_stop_stops_everything_at_once_and_only_its_confirmation_goes_out(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply("STOP")
    assert world.said()[-1] == "stopped"
    sent = len(world.network.handed)
    world.live_until(NOW + timedelta(days=30))
    world.reply("hello?")
    assert len(world.network.handed) == sent
    assert "wants-no-messages" in world.flags()
    world.now += timedelta(minutes=1)
    world.reply("START")
    assert world.said()[-1] == "started"
    world.live_until(NOW + timedelta(days=40))
    assert world.said()[-1] != "started"


def test_what_was_waiting_when_a_family_stops_is_withdrawn(world: World) -> None:
    world.enrol()
    review_due(world.store, world.now)
    assert [row.state for row in world.rows(t.outbox)] == ["queued"]
    inbox.receive(world.store, sid="s", phone=MOTHER, body="stop", received_at=world.now)
    assert [(row.kind, row.state) for row in world.rows(t.outbox)] == [("welcome", "withdrawn"), ("stopped", "queued")]


def test_silence_is_flagged_and_any_word_breaks_it(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=12))
    assert "no-reply" in world.flags()
    world.reply("22")
    assert "no-reply" not in world.flags()


def test_a_missed_visit_is_flagged_followed_up_and_settled_by_another_day(world: World) -> None:
    child_id = world.enrol()
    world.live_until(NOW + timedelta(days=14, hours=10))  # the visit is on Tuesday 15 September
    assert "missed-visit" not in world.flags()
    world.live_until(NOW + timedelta(days=15, hours=8))
    assert "missed-visit" in world.flags()
    assert "missed_visit" in world.said()
    visits.move(world.store, child_id, "first-fit", date(2026, 9, 22), world.now)
    world.tick()
    assert "missed-visit" not in world.flags()
    world.live_until(NOW + timedelta(days=20, hours=8))
    assert [row.key for row in world.rows(t.outbox, t.outbox.c.kind == "visit_reminder")][-1].endswith("2026-09-21")


def test_yes_to_the_word_about_a_missed_visit_asks_for_a_call(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=15, hours=8))
    assert world.said()[-1] == "missed_visit"
    world.reply("YES")
    assert "asked-for-call" in world.flags()
    assert world.said()[-1] == "call_heard"


def test_an_offer_stands_when_the_answer_had_to_be_asked_for_twice(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=15, hours=8))
    world.reply("xyzzy")
    assert world.said()[-1] == "ask_again"
    world.now += timedelta(minutes=2)
    world.reply("YES")
    assert "asked-for-call" in world.flags()


def test_yes_to_a_reminder_names_the_day_and_no_asks_for_another(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=11, hours=7))
    assert world.said()[-1] == "visit_reminder"
    world.reply("YES")
    assert world.said()[-1] == "coming_heard"
    assert "15" in world.network.handed[-1].body
    world.now += timedelta(minutes=3)
    world.reply("no")
    assert world.said()[-1] == "not_coming_heard"
    assert "cannot-come" in world.flags()


def test_the_step_down_waits_for_the_clinic_and_changes_the_question(world: World) -> None:
    child_id = world.enrol()
    world.now = NOW + timedelta(days=100)
    world.tick()
    world.live_until(NOW + timedelta(days=106))
    assert {row.kind for row in world.rows(t.outbox)} >= {"check_in_hours"}
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    world.live_until(NOW + timedelta(days=125))
    assert world.rows(t.outbox)[-1].kind == "check_in_nights"


@pytest.mark.parametrize(
    ("key", "on", "opens", "said"),
    [
        ("no-such-visit", date(2026, 9, 1), False, "no visit 'no-such-visit'"),
        ("first-fit", date(2026, 9, 2), False, "cannot have been kept"),
        ("first-fit", date(2026, 8, 31), False, "before the brace start"),
        ("first-fit", date(2026, 9, 1), False, "counts from 2026-09-11 on: record 2026-09-01 as a visit without"),
        ("end-of-bracing", date(2026, 9, 1), False, "counts from"),
        ("step-down", date(2026, 9, 1), True, "counts from 2026-11-24"),
        ("first-fit", date(2026, 9, 1), True, "nothing is decided"),
    ],
)
def test_a_visit_that_cannot_have_been_kept_is_refused(
    world: World, key: str, on: date, opens: bool, said: str
) -> None:
    child_id = world.enrol()
    with pytest.raises(VisitRefused, match=said):
        visits.record_kept(world.store, child_id, key, on, world.now, opens_gate=opens)
    assert world.rows(t.course_fact) == []


def test_a_visit_recorded_twice_is_one_fact(world: World) -> None:
    child_id = world.enrol()
    world.now += timedelta(days=15)
    for _ in range(2):
        visits.record_kept(world.store, child_id, "first-fit", date(2026, 9, 15), world.now)
    assert len(world.rows(t.course_fact)) == 1
    with pytest.raises(VisitRefused, match="was kept"):
        visits.move(world.store, child_id, "first-fit", date(2026, 9, 22), world.now)


def test_a_corrected_day_takes_the_decision_along_and_a_wrong_tick_can_be_taken_back(world: World) -> None:
    child_id = world.enrol()
    world.now = NOW + timedelta(days=95)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 3), world.now)
    assert [phase.start for phase in phases_of(world, child_id)] == [date(2026, 9, 1), date(2026, 12, 3)]
    visits.take_decision_back(world.store, child_id, "step-down", world.now)
    now_in_force = phases_of(world, child_id)[0]
    assert (now_in_force.hours_low, now_in_force.gate_open) == (23, False)
    with pytest.raises(VisitRefused, match="nothing to take back"):
        visits.take_decision_back(world.store, child_id, "step-down", world.now)


def phases_of(world: World, child_id: int) -> tuple[Phase, ...]:
    with world.store.read() as connection:
        return cases.load(connection, [child_id], world.now)[0].timeline.phases


@pytest.mark.parametrize("to", [date(2026, 8, 31), date(2027, 9, 2)])
def test_a_visit_is_not_moved_into_the_past_or_beyond_a_year(world: World, to: date) -> None:
    child_id = world.enrol()
    with pytest.raises(VisitRefused, match=r"no day for a visit|more than a year"):
        visits.move(world.store, child_id, "first-fit", to, world.now)


def test_a_call_without_a_known_outcome_is_refused(world: World) -> None:
    child_id = world.enrol()
    with pytest.raises(CallRefused, match="choose one of spoke"):
        calls.record(world.store, child_id, "maybe", world.now)
    with pytest.raises(CallRefused, match="no child 99"):
        calls.record(world.store, 99, "spoke", world.now)
    with pytest.raises(CallRefused, match="shorten"):
        calls.record(world.store, child_id, "spoke", world.now, note="x" * 1001)
    assert world.rows(t.call) == []


def test_a_reply_from_a_number_nobody_has_is_kept_for_staff_and_not_answered(world: World) -> None:
    world.enrol()
    world.tick()
    taken = world.reply("22", phone="+442079460999")
    assert taken is not None
    assert taken.child_id is None
    kept = world.rows(t.inbound)[0]
    assert (kept.body, kept.next, kept.child_id) == ("22", "to_staff", None)
    assert world.said() == ["welcome"]


def test_thanks_are_taken_as_thanks_and_a_word_of_mourning_is_left_to_people(world: World) -> None:
    world.enrol()
    world.tick()
    world.reply("ok thank you")
    assert world.flags() == []
    world.reply("the baby died yesterday")
    assert set(world.flags()) == {"unread-reply", "wants-no-messages"}
    world.live_until(NOW + timedelta(days=20))
    assert world.said() == ["welcome"]


def test_nothing_more_goes_to_a_number_that_is_somebody_elses_until_staff_put_it_right(world: World) -> None:
    child_id = world.enrol()
    world.tick()
    calls.record(world.store, child_id, "wrong_number", world.now)
    world.live_until(NOW + timedelta(days=10))
    assert world.said() == ["welcome"]
    assert world.rows(t.caregiver)[0].stopped_why == "wrong_person"
    assert people.release(world.store, world.rows(t.caregiver)[0].id, world.now)
    world.live_until(NOW + timedelta(days=20))
    assert len(world.said()) > 1


def test_a_stranger_who_answers_is_written_to_no_more(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    sent = len(world.said())
    world.reply("wrong number, I don't know this clinic")
    world.live_until(NOW + timedelta(days=20))
    assert len(world.said()) == sent


def test_only_their_own_word_begins_messages_again_for_those_who_stopped_them(world: World) -> None:
    world.enrol()
    world.tick()
    world.reply("STOP")
    assert people.release(world.store, world.rows(t.caregiver)[0].id, world.now) is False
    assert world.rows(t.caregiver)[0].stopped_at is not None


def test_a_second_press_of_the_same_button_is_one_call(world: World) -> None:
    child_id = world.enrol()
    for seconds in (0, 2, 15):
        calls.record(world.store, child_id, "no_answer", NOW + timedelta(seconds=seconds))
    assert len(world.rows(t.call)) == 2


def test_nights_say_nothing_about_hours(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply("4")
    for _ in range(2):
        world.now += timedelta(days=1)
        world.reply("7 nights")
    assert {"low-wear", "unread-reply"} <= set(world.flags())
    assert [row.kind for row in world.rows(t.wear_report)] == ["hours"]


def test_a_figure_answers_the_question_about_hours_though_a_reminder_went_out_since(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=11, hours=7))
    assert world.said()[-1] == "visit_reminder"
    world.reply("4")
    assert "low-wear" in world.flags()
    world.now += timedelta(minutes=5)
    world.reply("yes")
    assert world.said()[-1] == "coming_heard"


def test_a_figure_that_comes_before_anything_was_asked_is_what_the_phase_asks(world: World) -> None:
    world.enrol(brace_start=date(2026, 8, 30))
    world.tick()
    world.reply("4")
    assert world.flags() == ["low-wear"]


def test_what_to_do_about_a_sore_foot_is_said_however_much_was_said_before(world: World) -> None:
    world.enrol()
    world.tick()
    for _ in range(12):
        world.now += timedelta(minutes=1)
        world.reply("call me")
    world.now += timedelta(minutes=1)
    world.reply("her toes are blue")
    assert world.said()[-1] == "trouble_heard"


def test_a_figure_that_needs_a_person_to_confirm_it_is_not_yet_wear(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=2, hours=8))
    world.reply("22 amina")
    assert world.rows(t.wear_report) == []
    assert world.flags() == ["unread-reply"]


def test_a_phone_that_answers_by_machine_is_not_answered_for_ever(world: World) -> None:
    world.enrol()
    world.tick()
    for number in range(30):
        world.now += timedelta(minutes=1)
        world.reply(f"I am driving and will answer later, message {number}")
    assert world.said().count("call_heard") == 10
    assert len(world.rows(t.inbound)) == 30
