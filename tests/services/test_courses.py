"""Changing what a course rests on, with what has happened left as it was."""

from datetime import date, time, timedelta

import pytest
from opened_clinics import open_clinic
from world import NOW, World

from bracewatch.schedule import protocol
from bracewatch.services import boots, courses, enrolment, visits
from bracewatch.services.facts import FactRefused
from bracewatch.store import cases
from bracewatch.store import tables as t

GRADED = protocol.shipped("graded-step-down")


def case_of(world: World, child_id: int):  # type: ignore[no-untyped-def]
    with world.store.read() as connection:
        return cases.load(connection, [child_id], world.now)[0]


def test_a_course_keeps_the_version_it_began_with_when_the_file_changes(world: World) -> None:
    text = protocol.shipped("nights-to-four").text.replace('id = "nights-to-four"', 'id = "ours"')
    first = protocol.parse(text, "ours")
    second = protocol.parse(text.replace("version = 1", "version = 2").replace("[23, 23]", "[21, 21]"), "ours")
    old = world.enrol(protocol_id="ours", protocols={"ours": first})
    new = world.enrol(phone="+442079460002", protocol_id="ours", protocols={"ours": second})
    assert case_of(world, old).timeline.phases[0].hours_low == 23
    assert case_of(world, new).timeline.phases[0].hours_low == 21
    assert case_of(world, old).protocol.version == 1
    assert [(row.protocol_id, row.version) for row in _texts(world)] == [("ours", 1), ("ours", 2)]


def _texts(world: World):  # type: ignore[no-untyped-def]
    with world.store.read() as connection:
        return list(connection.execute(t.protocol_text.select().order_by(t.protocol_text.c.version)))


def test_a_move_to_another_protocol_is_shown_before_it_is_made_and_changes_only_what_is_ahead(world: World) -> None:
    child_id = world.enrol()
    world.now = NOW + timedelta(days=95)
    visits.record_kept(world.store, child_id, "first-fit", date(2026, 9, 15), world.now)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    before = case_of(world, child_id).timeline
    from_day = date(2026, 12, 10)

    preview = courses.preview_protocol(world.store, child_id, GRADED, from_day, world.now)
    assert case_of(world, child_id).timeline == before == preview.before
    assert [phase.key for phase in preview.after.phases][:3] == ["full-time", "nights-and-naps", "step-1"]

    courses.move_to_protocol(world.store, child_id, GRADED, from_day, world.now)
    after = case_of(world, child_id).timeline
    assert after == preview.after
    assert after.in_force(date(2026, 12, 9)) == before.in_force(date(2026, 12, 9))._replace(end=from_day)
    assert after.in_force(from_day).hours_low == 20
    world.now = NOW + timedelta(days=101)
    assert case_of(world, child_id).protocol.id == "graded-step-down"
    assert [visit.kept for visit in after.visits[:2]] == [date(2026, 9, 15), date(2026, 12, 1)]


@pytest.mark.parametrize(
    ("days", "rules", "said"),
    [(-3, GRADED, "is past"), (5, protocol.shipped("trial-two-years"), "Choose another protocol")],
)
def test_a_move_that_cannot_be_is_refused(world: World, days: int, rules: protocol.Protocol, said: str) -> None:
    child_id = world.enrol(born=date(2024, 7, 1))
    with pytest.raises(FactRefused, match=said):
        courses.move_to_protocol(world.store, child_id, rules, world.now.date() + timedelta(days=days), world.now)
    assert world.rows(t.course_protocol) == []


def test_a_move_planned_for_later_does_not_count_yet(world: World) -> None:
    child_id = world.enrol()
    from_day = world.now.date() + timedelta(days=60)
    courses.move_to_protocol(world.store, child_id, GRADED, from_day, world.now)
    assert case_of(world, child_id).protocol.id == "nights-to-four"
    world.now += timedelta(days=60)
    assert case_of(world, child_id).protocol.id == "graded-step-down"


def test_a_boot_size_that_cannot_be_is_refused(world: World) -> None:
    child_id = world.enrol()
    with pytest.raises(FactRefused, match="boot size"):
        boots.record_fitting(world.store, child_id, "left", date(2026, 9, 1), world.now, size=999)
    assert world.rows(t.foot_fitting) == []


def test_a_corrected_birth_date_moves_the_end_and_is_remembered(world: World) -> None:
    child_id = world.enrol()
    courses.change_birth_date(world.store, child_id, date(2026, 6, 1), world.now)
    assert case_of(world, child_id).timeline.ends_on == date(2030, 6, 1)
    change = world.rows(t.child_change)[0]
    assert (change.what, change.old, change.new) == ("birth date", "2026-07-01", "2026-06-01")


def test_a_corrected_birth_date_leaves_the_past_as_it_was(world: World) -> None:
    child_id = world.enrol(born=date(2025, 12, 15), protocol_id="graded-step-down")
    world.now = NOW + timedelta(days=95)
    visits.record_kept(world.store, child_id, "step-down", date(2026, 12, 1), world.now, opens_gate=True)
    before = case_of(world, child_id).timeline
    courses.change_birth_date(world.store, child_id, date(2025, 11, 15), world.now)  # ten months old: another row
    after = case_of(world, child_id).timeline
    today = world.now.date()
    assert after.variant == "after-nine-months"
    assert before.variant == "first-months"
    for days in range((today - date(2026, 9, 1)).days):
        day = date(2026, 9, 1) + timedelta(days)
        assert after.in_force(day).hours_high == before.in_force(day).hours_high
    assert after.in_force(today).hours_high == 16
    assert [v for v in after.visits if v.closes < today] == [v for v in before.visits if v.closes < today]


def test_a_second_move_waits_until_the_planned_one_is_withdrawn(world: World) -> None:
    child_id = world.enrol()
    planned, sooner = world.now.date() + timedelta(days=60), world.now.date() + timedelta(days=30)
    courses.move_to_protocol(world.store, child_id, GRADED, planned, world.now)
    with pytest.raises(FactRefused, match=f"a move to graded-step-down on {planned} is planned already"):
        courses.preview_protocol(world.store, child_id, protocol.shipped("sleep-to-five"), sooner, world.now)
    courses.withdraw_move(world.store, child_id, planned, world.now)
    assert world.rows(t.course_protocol) == []
    preview = courses.move_to_protocol(world.store, child_id, GRADED, sooner, world.now)
    assert case_of(world, child_id).timeline == preview.after
    with pytest.raises(FactRefused, match="no move to another protocol is planned"):
        courses.withdraw_move(world.store, child_id, planned, world.now)


def test_another_wording_under_the_same_version_is_refused(world: World) -> None:
    text = protocol.shipped("nights-to-four").text.replace('id = "nights-to-four"', 'id = "ours"')
    edited = protocol.parse(text.replace('lasts = "P3M"', 'lasts = "P4M"'), "ours")
    world.enrol(protocol_id="ours", protocols={"ours": protocol.parse(text, "ours")})
    child_id = world.enrol(phone="+442079460002")
    with pytest.raises(FactRefused, match="raise the version in its file"):
        courses.move_to_protocol(world.store, child_id, edited, world.now.date() + timedelta(days=1), world.now)
    with pytest.raises(enrolment.NotEnrolled, match="raise the version in its file"):
        world.enrol(phone="+442079460003", protocol_id="ours", protocols={"ours": edited})


def test_the_other_clinic_gives_no_past_day_to_a_visit_that_had_none(world: World) -> None:
    with world.store.begin() as connection:
        for day in range(30):
            closed = {"clinic_id": world.clinic_id, "day": date(2026, 9, 1) + timedelta(day), "reason": "strike"}
            connection.execute(t.clinic_closed_day.insert().values(closed))
    child_id = world.enrol()
    world.live_until(NOW + timedelta(days=18))
    other = enrolment.NewClinic("vale", "Far Vale", "EG", "Africa/Cairo", "fri", "+441134960002")
    courses.change_clinic(world.store, child_id, enrolment.add_clinic(world.store, other), world.now)
    world.live_until(NOW + timedelta(days=21))
    assert case_of(world, child_id).timeline.visits[0].on is None
    assert "missed_visit" not in world.said()


@pytest.mark.parametrize("born", [date(2026, 9, 2), date(2020, 1, 1)])
def test_a_birth_date_that_cannot_be_is_refused(world: World, born: date) -> None:
    child_id = world.enrol()
    with pytest.raises(FactRefused):
        courses.change_birth_date(world.store, child_id, born, world.now)
    assert world.rows(t.child)[0].born == date(2026, 7, 1)
    assert world.rows(t.child_change) == []


def test_another_clinic_sees_the_child_on_its_own_days_from_then_on(world: World) -> None:
    child_id = world.enrol()
    world.live_until(NOW + timedelta(days=20))
    missed = world.flags()
    other = enrolment.NewClinic("vale", "Far Vale", "EG", "Africa/Cairo", "sun", "+441134960002")
    courses.change_clinic(world.store, child_id, open_clinic(world.store, other), world.now)
    world.tick()
    visits_now = case_of(world, child_id).timeline.visits
    assert visits_now[0].on == date(2026, 9, 15)
    assert visits_now[1].on == date(2026, 11, 29)
    assert "missed-visit" in missed
    assert "missed-visit" in world.flags()


def test_no_such_clinic_is_refused(world: World) -> None:
    child_id = world.enrol()
    with pytest.raises(FactRefused, match="no clinic 99"):
        courses.change_clinic(world.store, child_id, 99, world.now)


def test_a_change_of_zone_moves_only_what_is_still_to_be_said(world: World) -> None:
    world.enrol(contact_time=time(18))
    world.live_until(NOW + timedelta(days=3))
    sent = [row.key for row in world.rows(t.outbox)]
    courses.change_zone(world.store, world.rows(t.caregiver)[0].id, "Asia/Kolkata", world.now)
    world.tick()
    assert [row.key for row in world.rows(t.outbox)] == sent
    world.live_until(NOW + timedelta(days=8))
    last = world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")[-1]
    assert (last.due_at.hour, last.due_at.minute) == (12, 30)
    with pytest.raises(FactRefused, match="not a time zone"):
        courses.change_zone(world.store, 1, "Mars/Base", world.now)


class TestBoots:
    def test_the_next_size_is_due_by_age_and_each_foot_for_itself(self, world: World) -> None:
        # Gould N et al. Foot Ankle 1990;10(4):211-213: under 15 months half a size in less than two months. READ
        child_id = world.enrol()
        boots.record_fitting(world.store, child_id, "left", date(2026, 9, 1), world.now, length_mm=80)
        boots.record_fitting(world.store, child_id, "right", date(2026, 9, 1), world.now, length_mm=76)
        due = boots.due(world.store, child_id, world.now)
        assert due["left"].latest == date(2026, 11, 1)
        assert due["left"].size > due["right"].size
        assert due["left"].prompt_on <= due["left"].earliest <= due["left"].latest

    def test_a_clinic_knows_what_it_will_need(self, world: World) -> None:
        child_id = world.enrol()
        for side in boots.SIDES:
            boots.record_fitting(world.store, child_id, side, date(2026, 9, 1), world.now, length_mm=80)
        outlook = boots.needed(world.store, world.now)
        assert {need.clinic for need in outlook.needs} == {"hill"}
        assert sum(need.in_6_months.expected for need in outlook.needs) >= 2
        assert "spurts" in outlook.note

    @pytest.mark.parametrize(
        ("side", "on", "length", "said"),
        [
            ("middle", date(2026, 9, 1), 80, "left or right"),
            ("left", date(2026, 9, 2), 80, "ahead of today"),
            ("left", date(2026, 9, 1), 900, "900"),
            ("left", date(2026, 9, 1), None, "give the length"),
            ("left", date(2020, 1, 1), 80, "birth"),
        ],
    )
    def test_a_fitting_that_cannot_be_is_refused(
        self, world: World, side: str, on: date, length: float | None, said: str
    ) -> None:
        child_id = world.enrol()
        with pytest.raises(FactRefused, match=said):
            boots.record_fitting(world.store, child_id, side, on, world.now, length_mm=length)
        assert world.rows(t.foot_fitting) == []
