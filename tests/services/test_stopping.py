"""The stop switch: nothing is handed over while it stands, in any process; nothing is lost meanwhile."""

from datetime import timedelta

import pytest
from opened_clinics import open_clinic
from world import NOW, World

from bracewatch.messages.adapter import Accepted, NotSent, Outcome, Outgoing
from bracewatch.services import enrolment
from bracewatch.services.reviewing import review_due
from bracewatch.services.stopping import PERSON, StopRefused, lift_stop, standing_stops, stop_sending
from bracewatch.store import tables as t


def stop(world: World, clinic_id: int | None = None) -> int:
    return stop_sending(world.store, clinic_id=clinic_id, why="wrong text", by="Asha", now=world.now)


def another_clinic(world: World) -> int:
    clinic = enrolment.NewClinic("shore", "Shore", "KE", "Africa/Nairobi", "tue", "+441134960002")
    return open_clinic(world.store, clinic)


def test_while_a_stop_stands_messages_wait_and_go_out_once_it_is_lifted(world: World) -> None:
    world.enrol()
    stop_id = stop(world)
    assert world.tick().sent == 0
    assert [(row.state, row.attempt) for row in world.rows(t.outbox)] == [("queued", 0)]
    lift_stop(world.store, stop_id, by="Asha", now=world.now)
    assert world.tick().sent == 1


def test_a_stop_of_one_clinic_leaves_the_others_sending(world: World) -> None:
    world.enrol(phone="+442079460002")
    world.enrol(clinic_id=another_clinic(world))
    stop(world, world.clinic_id)
    assert world.tick().sent == 1
    assert [message.to for message in world.network.handed] == ["+442079460001"]


def test_a_message_that_waited_past_its_use_expires_and_is_not_sent_late(world: World) -> None:
    world.enrol()
    stop_id = stop(world)
    review_due(world.store, world.now)
    world.now += timedelta(days=8)
    lift_stop(world.store, stop_id, by="Asha", now=world.now)
    assert world.tick().expired == 1
    assert "welcome" not in world.said()


def test_a_stop_pressed_while_a_batch_goes_out_holds_the_rest_of_it(world: World) -> None:
    for number in range(6):
        world.enrol(phone=f"+44207946001{number}")
    send, pressed = world.network.send, []

    def takes_a_second(message: Outgoing) -> Accepted:
        if len(world.network.handed) == 2:
            pressed.append(stop(world))
        world.now += timedelta(seconds=1)
        return send(message)

    world.network.send = takes_a_second  # type: ignore[method-assign]
    assert world.tick().sent == 3
    assert sorted(row.state for row in world.rows(t.outbox)) == ["queued"] * 3 + ["sent"] * 3


def test_no_message_may_be_written_later_than_five_seconds_after_the_last_look_at_the_stops(world: World) -> None:
    world.enrol()
    world.tick()
    (message,) = world.network.handed
    assert message.not_after is not None
    assert message.not_after - NOW < timedelta(seconds=5)


def test_a_fault_of_our_account_presses_the_switch_for_all_clinics_once(world: World) -> None:
    world.enrol()
    world.enrol(clinic_id=another_clinic(world), phone="+442079460002")
    world.network.failures = [NotSent(Outcome.ACCOUNT, "30002", "account suspended")]
    world.tick()
    world.tick()
    with world.store.read() as connection:
        (standing,) = standing_stops(connection)
    assert (standing.clinic_id, standing.cause, standing.stopped_by) == (None, "account", "the sender")
    assert "30002" in standing.why
    assert len(world.network.handed) == 1


@pytest.mark.parametrize("outcome", [Outcome.PERMANENT, Outcome.TRANSIENT, Outcome.IN_DOUBT, Outcome.OPTED_OUT])
def test_any_other_failure_leaves_the_switch_alone(world: World, outcome: Outcome) -> None:
    world.enrol()
    world.network.failures = [NotSent(outcome, "1", "it failed")]
    world.tick()
    assert world.rows(t.sending_stop) == []


def test_pressing_again_is_the_same_stop_and_an_account_stop_is_another(world: World) -> None:
    assert stop(world) == stop(world)
    assert stop(world, world.clinic_id) != stop(world)
    assert {row.cause for row in world.rows(t.sending_stop)} == {PERSON}


def test_who_lifted_a_stop_is_kept_and_it_is_lifted_once(world: World) -> None:
    stop_id = stop(world)
    lift_stop(world.store, stop_id, by="Baraka", now=world.now)
    with pytest.raises(StopRefused, match="no stop"):
        lift_stop(world.store, stop_id, by="Asha", now=world.now)
    (row,) = world.rows(t.sending_stop)
    assert (row.stopped_by, row.lifted_by, row.lifted_at) == ("Asha", "Baraka", NOW)


@pytest.mark.parametrize(("why", "by"), [(" ", "Asha"), ("wrong text", "")])
def test_a_stop_without_a_reason_or_a_name_is_refused(world: World, why: str, by: str) -> None:
    with pytest.raises(StopRefused, match="say"):
        stop_sending(world.store, clinic_id=None, why=why, by=by, now=world.now)
    stop_id = stop(world)
    with pytest.raises(StopRefused, match="say"):
        lift_stop(world.store, stop_id, by="", now=world.now)
