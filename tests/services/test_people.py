"""Caregivers: consent before anything, a second one when the first's number fails, another number."""

from __future__ import annotations

from datetime import time, timedelta
from typing import Any

import pytest
from world import MOTHER, NOW, World

from bracewatch.services import enrolment, people
from bracewatch.services.delivery import report
from bracewatch.services.enrolment import NewCaregiver, NotEnrolled
from bracewatch.services.people import NumberRefused
from bracewatch.services.reviewing import review_due
from bracewatch.store import tables as t

AUNT, NEW = "+442079460002", "+442079460003"
NO_CONSENT: dict[str, Any] = {"agreed_at": None, "agreed_text": None, "agreed_by": None}


def second(world: World, child_id: int, **changes: Any) -> int:
    """An aunt who is a caregiver too, and who agreed unless `changes` say otherwise."""
    given: dict[str, Any] = {
        "name": "Subira (aunt)",
        "phone": AUNT,
        "language": "sw",
        "contact_time": time(17),
        "agreed_at": world.now,
        "agreed_text": "welcome, first wording",
        "agreed_by": "Nurse Imara",
    }
    return enrolment.add_caregiver(world.store, child_id, NewCaregiver(**{**given, **changes}), world.now)


def bounce(world: World, place: int = -1) -> None:
    """The network says of a message that nothing gets through to its number."""
    row = world.rows(t.outbox, t.outbox.c.state == "sent")[place]
    report(world.store, reference=row.key, sid=row.sid, status="undelivered", code="30005", now=world.now)


def people_of(world: World) -> list[Any]:
    return world.rows(t.caregiver)


# --- consent ------------------------------------------------------------------------------------------------


def test_who_asked_for_consent_in_which_words_and_language_is_kept_before_the_first_message(world: World) -> None:
    world.enrol(language="sw", agreed_language="en")
    kept = people_of(world)[0]
    assert (kept.agreed_at, kept.agreed_text) == (NOW, "welcome, first wording")
    assert (kept.agreed_by, kept.agreed_language) == ("Nurse Imara", "en")
    assert world.rows(t.outbox) == []
    world.tick()
    assert world.said() == ["welcome"]


def test_consent_is_in_the_caregivers_language_unless_it_says_otherwise(world: World) -> None:
    world.enrol(language="sw")
    assert people_of(world)[0].agreed_language == "sw"


def test_nothing_at_all_is_sent_to_somebody_who_has_not_agreed(world: World) -> None:
    world.enrol(**NO_CONSENT)
    world.live_until(NOW + timedelta(days=20))
    for body in ("23", "call me", "her heel is red", "STOP", "xyzzy"):
        world.now += timedelta(minutes=1)
        world.reply(body)
    assert world.rows(t.outbox) == []
    assert "sore-skin" in world.flags()  # staff see it all the same


def test_their_own_start_is_consent_and_is_kept_as_such(world: World) -> None:
    world.enrol(**NO_CONSENT)
    world.tick()
    world.reply("START")
    kept = people_of(world)[0]
    assert (kept.agreed_at, kept.agreed_text, kept.agreed_language) == (world.now, "START", "en")
    assert kept.agreed_by == "Zawadi (mother)"
    assert "started" in world.said()


def test_a_start_after_a_stop_leaves_the_first_consent_as_it_was(world: World) -> None:
    world.enrol()
    world.tick()
    before = people_of(world)[0]
    for body in ("STOP", "START"):
        world.now += timedelta(minutes=1)
        world.reply(body)
    assert people_of(world) == [before]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"agreed_text": None}, "which wording they agreed to"),
        ({"agreed_text": " "}, "which wording they agreed to"),
        ({"agreed_by": None}, "who asked them"),
        ({"agreed_language": "xx"}, "no language 'xx'"),
        ({"agreed_at": NOW + timedelta(minutes=1)}, "dated ahead"),
    ],
)
def test_half_a_consent_is_refused(world: World, changes: dict[str, Any], said: str) -> None:
    with pytest.raises(NotEnrolled, match=said):
        world.enrol(**changes)
    assert people_of(world) == []


def test_staff_cannot_begin_messages_again_for_somebody_who_stopped_them(world: World) -> None:
    world.enrol()
    world.tick()
    world.reply("STOP")
    caregiver_id = people_of(world)[0].id
    assert not people.release(world.store, caregiver_id, world.now)
    people.change_number(world.store, caregiver_id, NEW, world.now)
    assert people_of(world)[0].stopped_why == "asked"
    sent = len(world.said())
    world.live_until(NOW + timedelta(days=20))
    assert len(world.said()) == sent
    assert "wants-no-messages" in world.flags()  # they see it, and may call


def test_a_start_that_comes_in_late_lifts_no_stop_that_is_younger(world: World) -> None:
    world.enrol()
    world.tick()
    world.now += timedelta(hours=2)
    world.reply("STOP")
    said = world.said()
    people_before = people_of(world)
    late = world.now
    world.now -= timedelta(hours=1)
    world.reply("START", sid="written before the stop")
    world.now = late + timedelta(minutes=1)
    world.tick()
    assert people_of(world) == people_before
    assert world.said() == said


# --- a second caregiver -------------------------------------------------------------------------------------


def test_when_the_firsts_number_fails_messages_go_to_the_second(world: World) -> None:
    child_id = world.enrol()
    second(world, child_id)
    world.tick()
    assert {row.phone for row in world.rows(t.outbox)} == {MOTHER}
    bounce(world)
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert [row.phone for row in world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")] == [AUNT]
    flag = world.rows(t.flag, t.flag.c.code == "number-fails")[0]
    assert (flag.urgency, "another caregiver" in flag.sentence) == (3, True)


def test_when_the_firsts_number_works_again_messages_go_there_again(world: World) -> None:
    child_id = world.enrol()
    second(world, child_id)
    world.tick()
    bounce(world)
    world.live_until(NOW + timedelta(days=1))
    world.reply("my phone is back")
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert [row.phone for row in world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")] == [MOTHER]
    assert "number-fails" not in world.flags()


@pytest.mark.parametrize("why", ["not agreed", "stopped", "number fails too"])
def test_a_second_who_cannot_be_written_to_is_no_way_out(world: World, why: str) -> None:
    child_id = world.enrol()
    second(world, child_id, **(NO_CONSENT if why == "not agreed" else {}))
    world.tick()
    if why == "stopped":
        world.reply("STOP", phone=AUNT)
    if why == "number fails too":
        with world.store.begin() as connection:
            people.number_fails(connection, AUNT, "30006", world.now)
    bounce(world, 0)
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert [row.phone for row in world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")] == [MOTHER]
    flag = world.rows(t.flag, t.flag.c.code == "number-fails", t.flag.c.cleared_at.is_(None))[0]
    assert (flag.urgency, "nobody else" in flag.sentence) == (2, True)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"phone": "0712345678"}, "no country code"),
        ({"name": " "}, "name is missing"),
        ({"language": "xx"}, "no language 'xx'"),
        ({"contact_time": time(22)}, "quiet hours"),
        ({"time_zone": "Nairobi"}, "not a time zone"),
        ({"agreed_by": " "}, "who asked them"),
    ],
)
def test_a_second_caregiver_with_faults_is_refused(world: World, changes: dict[str, Any], said: str) -> None:
    child_id = world.enrol()
    with pytest.raises(NotEnrolled, match=said):
        second(world, child_id, **changes)
    assert len(people_of(world)) == 1


def test_a_caregiver_of_no_child_is_refused(world: World) -> None:
    with pytest.raises(NotEnrolled, match="no child 99"):
        second(world, 99)


# --- another number -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("written", [NEW, "0044 20 7946 0003", "+44 20 7946 0003", "00442079460003"])
def test_another_number_clears_the_failure_and_the_old_one_is_kept(world: World, written: str) -> None:
    world.enrol()
    world.tick()
    bounce(world)
    world.tick()
    assert world.flags() == ["number-fails"]
    people.change_number(world.store, people_of(world)[0].id, written, world.now)
    row = people_of(world)[0]
    assert (row.phone, row.number_failed_at, row.number_failed_code) == (NEW, None, None)
    change = world.rows(t.child_change)[0]
    assert (change.what, change.old, change.new, change.recorded_at) == ("phone", MOTHER, NEW, world.now)
    world.tick()
    assert world.flags() == []
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert world.rows(t.outbox)[-1].phone == NEW


def test_what_waits_goes_to_the_new_number_and_what_went_stays_as_it_went(world: World) -> None:
    world.enrol()
    world.tick()
    world.now = NOW + timedelta(days=2, hours=6)
    review_due(world.store, world.now)
    people.change_number(world.store, people_of(world)[0].id, NEW, world.now)
    world.now = NOW + timedelta(days=2, hours=8)
    world.reply("call me", phone=NEW)
    assert world.rows(t.outbox)[0].phone == MOTHER
    assert {row.phone for row in world.rows(t.outbox)[1:]} == {NEW}


def test_another_number_ends_a_stop_that_was_for_the_old_ones_owner(world: World) -> None:
    world.enrol()
    world.tick()
    world.reply("wrong number, I don't know this clinic")
    assert people_of(world)[0].stopped_why == "wrong_person"
    people.change_number(world.store, people_of(world)[0].id, NEW, world.now)
    assert (people_of(world)[0].stopped_at, people_of(world)[0].stopped_why) == (None, None)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("0712345678", "no country code"),
        ("00254123", "check the digits"),
        ("+44 20 7946", "check the digits"),
        ("maternal aunt", "no country code"),
        ("+44 20 7946 0001", "the number we have already"),
    ],
)
def test_a_number_that_cannot_be_is_refused_and_nothing_changes(world: World, written: str, said: str) -> None:
    world.enrol()
    before = people_of(world)
    with pytest.raises(NumberRefused, match=said):
        people.change_number(world.store, before[0].id, written, world.now)
    assert people_of(world) == before
    assert world.rows(t.child_change) == []


def test_a_number_of_nobody_is_refused(world: World) -> None:
    with pytest.raises(NumberRefused, match="no caregiver 99"):
        people.change_number(world.store, 99, NEW, world.now)
