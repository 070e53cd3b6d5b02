from datetime import date, time, timedelta
from typing import Any

import pytest
from world import NOW, World

from bracewatch.schedule import protocol
from bracewatch.schedule.local_time import local_day
from bracewatch.services import enrolment, visits
from bracewatch.services.enrolment import NewClinic, NotEnrolled, phone_number
from bracewatch.store import tables as t


def test_an_enrolled_family_is_woken_for_its_first_review_and_welcomed(world: World) -> None:
    child_id = world.enrol()
    assert world.rows(t.child)[0].wake_at == NOW
    world.tick()
    assert world.said() == ["welcome"]
    assert world.network.handed[0].body.startswith("Hello from Green Hill.")
    assert world.rows(t.outbox)[0].child_id == child_id


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"brace_start": date(2026, 6, 1)}, "before birth"),
        ({"brace_start": date(2027, 9, 2)}, "more than a year ahead"),
        ({"born": date(2026, 9, 2)}, "in the future"),
        ({"phone": "0712345678"}, "no country code"),
        ({"phone": "+44123"}, "check the digits"),
        ({"phone": "+12 abc"}, "check the digits|not a telephone number"),
        ({"language": "xx"}, "no language 'xx'"),
        ({"time_zone": "Nairobi"}, "not a time zone"),
        ({"contact_time": time(22)}, "quiet hours"),
        ({"child_name": "  "}, "child's name is missing"),
        ({"sides": "middle"}, "left, right or both"),
        ({"foot": "flat"}, "typical, atypical or loose"),
        ({"protocol_id": "nope"}, "no protocol 'nope'"),
        ({"born": date(2022, 1, 1)}, "Choose another protocol"),
        ({"clinic_id": 99}, "no clinic 99"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_written(world: World, changes: dict[str, Any], said: str) -> None:
    with pytest.raises(NotEnrolled, match=said):
        world.enrol(**changes)
    assert world.rows(t.child) == world.rows(t.caregiver) == world.rows(t.course) == []


def test_all_faults_are_named_in_one_answer(world: World) -> None:
    with pytest.raises(NotEnrolled) as caught:
        world.enrol(phone="123", language="xx", brace_start=date(2026, 6, 1), contact_time=time(3))
    assert len(caught.value.faults) == 4


@pytest.mark.parametrize("text", ["+44 20 7946 0001", "0044 20 7946 0001", "+442079460001"])
def test_a_number_is_kept_in_international_form(text: str) -> None:
    assert phone_number(text) == "+442079460001"


def test_a_clinic_with_faults_is_refused_with_all_of_them(world: World) -> None:
    with pytest.raises(NotEnrolled) as caught:
        enrolment.add_clinic(world.store, NewClinic("x", " ", "KE", "Mars", "blueday", "1"))
    assert len(caught.value.faults) == 4
    assert len(world.rows(t.clinic)) == 1


def test_the_day_of_enrolment_is_the_clinics_day(world: World) -> None:
    world.now = NOW.replace(hour=22)
    world.enrol()
    assert world.rows(t.child)[0].enrolled_on == local_day(world.now, "Africa/Nairobi") == date(2026, 9, 2)


def test_after_a_relapse_a_new_course_starts_full_time_again(world: World) -> None:
    child_id = world.enrol()
    world.now += timedelta(days=100)
    enrolment.start_again(world.store, child_id, date(2026, 12, 1), date(2026, 12, 30), world.now)
    first, second = world.rows(t.course)
    assert (first.number, second.number, second.brace_start) == (1, 2, date(2026, 12, 30))
    assert world.rows(t.course_fact)[0].about == "relapse"
    world.live_until(world.now + timedelta(days=25))
    asked = [row.due_at.date() for row in world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")]
    assert asked == [date(2027, 1, 1)]  # nothing during the casts, then the second day of the new course


@pytest.mark.parametrize(
    ("relapsed", "again", "said"),
    [
        (date(2026, 8, 1), date(2026, 12, 30), "relapse 2026-08-01 must lie"),
        (date(2026, 12, 9), date(2026, 12, 1), "must lie"),
        (date(2026, 12, 30), date(2027, 1, 10), "ahead of today"),
        (date(2026, 12, 1), date(2028, 12, 1), "more than a year ahead"),
    ],
)
def test_a_new_course_that_cannot_be_is_refused(world: World, relapsed: date, again: date, said: str) -> None:
    child_id = world.enrol()
    with pytest.raises(NotEnrolled, match=said):
        enrolment.start_again(world.store, child_id, relapsed, again, world.now + timedelta(days=100))
    assert len(world.rows(t.course)) == 1
    assert world.rows(t.course_fact) == []


def test_a_course_that_has_not_begun_cannot_have_relapsed(world: World) -> None:
    child_id = world.enrol()
    world.now += timedelta(days=100)
    enrolment.start_again(world.store, child_id, date(2026, 12, 1), date(2026, 12, 30), world.now)
    with pytest.raises(NotEnrolled, match="cannot have relapsed yet"):
        enrolment.start_again(world.store, child_id, date(2026, 12, 5), date(2027, 1, 30), world.now)
    assert len(world.rows(t.course)) == 2


def test_a_relapse_before_something_of_the_brace_is_refused(world: World) -> None:
    child_id = world.enrol()
    world.now += timedelta(days=100)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    with pytest.raises(NotEnrolled, match="after the end of bracing on 2026-11-20"):
        enrolment.start_again(world.store, child_id, date(2026, 11, 20), date(2026, 12, 30), world.now)
    assert len(world.rows(t.course)) == 1


def test_a_relapse_after_the_end_starts_a_course_in_a_protocol_that_has_one_for_the_age(world: World) -> None:
    child_id = world.enrol()
    world.now = NOW + timedelta(days=1600)  # past the fourth birthday
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    relapsed, again = date(2030, 12, 1), date(2031, 1, 10)
    with pytest.raises(enrolment.NotEnrolled, match="Choose another protocol"):
        enrolment.start_again(world.store, child_id, relapsed, again, world.now)
    enrolment.start_again(world.store, child_id, relapsed, again, world.now, protocol.shipped("graded-step-down"))
    assert [row.protocol_id for row in world.rows(t.course)] == ["nights-to-four", "graded-step-down"]
    assert world.rows(t.course_fact, t.course_fact.c.kind == "ended") == []
