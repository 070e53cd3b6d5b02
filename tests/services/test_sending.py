"""Sending: what is tried again, what never is, and what waits for the morning."""

from datetime import timedelta

import pytest
from world import NOW, World

from bracewatch.messages.adapter import NotSent, Outcome
from bracewatch.services.reviewing import review_due
from bracewatch.services.stopping import lift_stop
from bracewatch.store import tables as t


def test_a_number_that_does_not_exist_fails_for_good(world: World) -> None:
    world.enrol()
    world.network.failures = [NotSent(Outcome.PERMANENT, "30005", "no such number")]
    assert world.tick().failed == 1
    world.now += timedelta(minutes=30)
    assert world.tick().sent == 0
    assert [(row.state, row.error) for row in world.rows(t.outbox)] == [("failed", "30005")]


def test_what_surely_was_not_sent_is_tried_again_a_little_later(world: World) -> None:
    world.enrol()
    world.network.failures = [NotSent(Outcome.TRANSIENT, "429", "busy")]
    assert world.tick().later == 1
    assert world.tick().sent == 0
    world.now += timedelta(minutes=1)
    assert world.tick().sent == 1


def test_what_may_have_been_sent_is_never_simply_sent_again(world: World) -> None:
    world.enrol()
    world.network.failures = [NotSent(Outcome.IN_DOUBT, "timeout", "no answer")]
    assert world.tick().in_doubt == 1
    world.network.list_down = True
    world.live_until(NOW + timedelta(days=8))
    assert [message.reference for message in world.network.handed].count("welcome:1") == 1
    assert world.rows(t.outbox)[0].state == "unknown"


def test_an_account_fault_stops_the_sender_and_burns_no_attempt(world: World) -> None:
    world.enrol()
    world.enrol(phone="+442079460002")
    world.network.failures = [NotSent(Outcome.ACCOUNT, "20003", "wrong password")]
    done = world.tick()
    assert done.stopped_by == "20003"
    assert len(world.network.handed) == 1
    assert [(row.state, row.attempt) for row in world.rows(t.outbox)] == [("queued", 0), ("queued", 0)]
    assert world.tick().sent == 0
    (stop,) = world.rows(t.sending_stop)
    assert (stop.clinic_id, stop.cause) == (None, "account")
    assert "20003" in stop.why
    lift_stop(world.store, stop.id, by="Asha", now=world.now)
    assert world.tick().sent == 2


def test_a_message_past_its_usefulness_expires_unsent(world: World) -> None:
    world.enrol()
    review_due(world.store, world.now)
    world.now += timedelta(days=8)
    assert world.tick().expired == 1
    assert "welcome" not in world.said()


def test_a_claim_whose_sender_died_is_in_doubt_not_sent_again(world: World) -> None:
    world.enrol()
    review_due(world.store, world.now)

    class Died(Exception):
        pass

    def die(_message: object) -> None:
        raise Died

    world.network.send = die  # type: ignore[assignment, method-assign]
    with pytest.raises(Died):
        world.tick()
    del world.network.send  # type: ignore[misc]
    assert [row.state for row in world.rows(t.outbox)] == ["sending"]
    world.now += timedelta(minutes=6)
    assert world.tick().in_doubt == 1
    assert world.network.handed == []


def test_a_sender_that_was_down_does_not_wake_a_family_at_night(world: World) -> None:
    world.enrol()
    review_due(world.store, world.now)
    world.now = NOW.replace(hour=19)  # ten in the evening in Nairobi
    assert world.tick().sent == 0
    world.now = (NOW + timedelta(days=1)).replace(hour=5)
    assert world.tick().sent == 1


def test_what_to_do_about_a_sore_foot_is_said_by_night_too(world: World) -> None:
    world.enrol()
    world.tick()
    world.now = NOW.replace(hour=20)
    world.reply("his toes are blue")
    assert world.said() == ["welcome", "trouble_heard"]
