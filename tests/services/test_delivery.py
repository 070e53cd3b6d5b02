"""Reports of what became of a message: kept once, and the same in any order.

The words for a message's state are those of Twilio's public API description (Message resource, READ); which
error codes mean what is checked in tests/messages/test_provider_codes.py.
"""

from __future__ import annotations

import itertools
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, update
from world import MOTHER, NOW, Network, World

from bracewatch.messages.adapter import Accepted, NotSent, Outcome, Outgoing
from bracewatch.services import delivery, inbox
from bracewatch.services.delivery import ORDER, report
from bracewatch.store import Store
from bracewatch.store import tables as t


def welcomed(world: World) -> Any:
    """A family whose first message went out; its row."""
    world.enrol()
    world.tick()
    return message(world)


def message(world: World, place: int = 0) -> Any:
    return world.rows(t.outbox)[place]


def tell(
    world: World, status: str, *, sid: str = "sid-1", reference: str | None = None, code: str | None = None
) -> bool:
    return report(world.store, reference=reference, sid=sid, status=status, code=code, now=world.now)


def set_row(world: World, **values: Any) -> None:
    with world.store.begin() as connection:
        connection.execute(update(t.outbox).values(values))


def caregiver(world: World) -> Any:
    return world.rows(t.caregiver)[0]


# --- the state of a message ---------------------------------------------------------------------------------


def test_a_report_moves_a_message_up_and_is_kept(world: World) -> None:
    welcomed(world)
    world.now += timedelta(minutes=1)
    assert tell(world, "delivered")
    row = message(world)
    assert (row.state, row.delivery, row.delivery_code, row.delivery_at) == ("sent", "delivered", None, world.now)
    assert [(one.sid, one.status) for one in world.rows(t.delivery_report)] == [("sid-1", "delivered")]


def test_a_message_moves_up_and_never_down(world: World) -> None:
    welcomed(world)
    for number, (early, late) in enumerate(itertools.combinations(ORDER, 2)):
        for first, then in ((early, late), (late, early)):
            sid = f"{first}-then-{number}"
            set_row(world, sid=sid, delivery=None)
            assert tell(world, first, sid=sid)
            assert message(world).delivery == first
            assert tell(world, then, sid=sid)
            assert message(world).delivery == late
    assert len(world.rows(t.delivery_report)) == len(ORDER) * (len(ORDER) - 1) * 2


def test_what_arrived_after_all_counts_as_arrived(world: World) -> None:
    welcomed(world)
    tell(world, "undelivered", code="30003")
    tell(world, "delivered")
    assert (message(world).delivery, message(world).delivery_code) == ("delivered", None)


def test_a_word_that_nobody_knows_is_kept_and_changes_nothing(world: World) -> None:
    before = welcomed(world)
    assert tell(world, "teleported")
    assert message(world) == before
    assert len(world.rows(t.delivery_report)) == 1


def test_a_report_that_comes_twice_is_one_report(world: World) -> None:
    welcomed(world)
    assert tell(world, "delivered")
    rows = world.rows(t.outbox)
    world.now += timedelta(hours=1)
    assert not tell(world, "delivered")
    assert len(world.rows(t.delivery_report)) == 1
    assert world.rows(t.outbox) == rows


def test_a_report_of_a_message_that_nobody_knows_is_kept_and_changes_nothing(world: World) -> None:
    before = welcomed(world)
    assert not tell(world, "undelivered", sid="stranger", reference="nobody's", code="30005")
    assert world.rows(t.outbox) == [before]
    assert caregiver(world).number_failed_at is None
    assert [(one.sid, one.reference, one.code) for one in world.rows(t.delivery_report)] == [
        ("stranger", "nobody's", "30005")
    ]


def test_our_reference_with_another_sid_than_the_message_has_changes_nothing(world: World) -> None:
    before = welcomed(world)
    assert not tell(world, "undelivered", sid="another", reference=before.key, code="30005")
    assert world.rows(t.outbox) == [before]
    assert caregiver(world).number_failed_at is None


# --- messages of which we do not know whether they went -----------------------------------------------------


@pytest.mark.parametrize("state", ["in_doubt", "unknown", "sending"])
@pytest.mark.parametrize("status", ["queued", "sent", "delivered", "undelivered", "failed"])
def test_a_report_with_our_reference_settles_what_was_open(world: World, state: str, status: str) -> None:
    row = welcomed(world)
    handed_at = NOW - timedelta(minutes=7)
    set_row(world, state=state, sid=None, sent_at=None, owner="dead", attempt=1, handed_at=handed_at)
    assert tell(world, status, sid="SM1", reference=row.key)
    row = message(world)
    assert (row.state, row.sid, row.sent_at, row.delivery) == ("sent", "SM1", handed_at, status)
    assert (row.owner, row.lease_until) == (None, None)
    world.live_until(NOW + timedelta(days=1))
    assert len(world.network.handed) == 1


@pytest.mark.parametrize("state", ["failed", "expired", "withdrawn"])
def test_what_was_ended_is_not_opened_again_by_a_report(world: World, state: str) -> None:
    row = welcomed(world)
    set_row(world, state=state, sid=None, sent_at=None)
    assert not tell(world, "delivered", sid="SM1", reference=row.key)
    assert (message(world).state, message(world).sid) == (state, None)


def test_what_waits_to_be_tried_again_was_sent_when_its_message_is_on_its_way(world: World) -> None:
    row = welcomed(world)
    set_row(world, state="queued", sid=None, sent_at=None, attempt=1)
    assert tell(world, "sent", sid="SM1", reference=row.key)
    assert (message(world).state, message(world).sid) == ("sent", "SM1")
    assert world.tick().sent == 0


@pytest.mark.parametrize("status", ["failed", "undelivered", "canceled"])
def test_what_waits_to_be_tried_again_still_waits_when_its_first_try_was_given_up(world: World, status: str) -> None:
    row = welcomed(world)
    set_row(world, state="queued", sid=None, sent_at=None, attempt=1)
    assert not tell(world, status, sid="SM1", reference=row.key, code="30008")
    assert (message(world).state, message(world).sid) == ("queued", None)
    assert world.tick().sent == 1


def test_what_was_never_handed_over_is_not_settled_by_a_report(world: World) -> None:
    row = welcomed(world)
    set_row(world, state="queued", sid=None, sent_at=None, attempt=0)
    assert not tell(world, "sent", sid="SM1", reference=row.key)
    assert message(world).state == "queued"


def test_a_report_that_overtakes_the_answer_to_the_sending_agrees_with_it(world: World) -> None:
    world.enrol()

    def answer_late(sent: Outgoing) -> Accepted:
        assert report(world.store, reference=sent.reference, sid="SM1", status="delivered", code=None, now=world.now)
        return Accepted(sid="SM1", parts=None)

    world.network.send = answer_late  # type: ignore[method-assign]
    world.tick()
    row = message(world)
    assert (row.state, row.sid, row.sent_at, row.delivery) == ("sent", "SM1", world.now, "delivered")


def test_a_report_that_comes_though_the_answer_was_lost_agrees_with_it(world: World) -> None:
    world.enrol()

    def lose_the_answer(sent: Outgoing) -> Accepted:
        report(world.store, reference=sent.reference, sid="SM1", status="sent", code=None, now=world.now)
        raise NotSent(Outcome.IN_DOUBT, "timeout", "no answer")

    world.network.send = lose_the_answer  # type: ignore[method-assign]
    world.tick()
    assert (message(world).state, message(world).sid) == ("sent", "SM1")


def test_a_check_in_that_is_settled_starts_the_time_to_answer_it(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=12))
    assert "no-reply" in world.flags()
    with world.store.begin() as connection:
        connection.execute(delete(t.flag))
        connection.execute(
            update(t.outbox).where(t.outbox.c.kind == "check_in_hours").values(state="in_doubt", sid=None, sent_at=None)
        )
        connection.execute(update(t.child).values(wake_at=None))
    for number, row in enumerate(world.rows(t.outbox, t.outbox.c.kind == "check_in_hours")):
        world.now = row.due_at
        tell(world, "delivered", sid=f"SM{number}", reference=row.key)
    assert world.rows(t.child)[0].wake_at == world.now
    world.live_until(world.now + timedelta(days=3))
    assert "no-reply" in world.flags()


# --- the number ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("status", ["undelivered", "failed"])
def test_a_number_that_fails_for_good_is_flagged_until_something_gets_through(world: World, status: str) -> None:
    welcomed(world)
    tell(world, status, code="30005")
    assert (caregiver(world).number_failed_at, caregiver(world).number_failed_code) == (world.now, "30005")
    world.tick()
    assert world.flags() == ["number-fails"]
    world.live_until(NOW + timedelta(days=2, hours=8))
    assert world.said() == ["welcome", "check_in_hours"]  # a number may come back to life
    tell(world, "delivered", sid="sid-2")
    assert caregiver(world).number_failed_at is None
    world.tick()
    assert "number-fails" not in world.flags()


@pytest.mark.parametrize("code", ["30003", "30008", "30034", "99999", None])
def test_a_failure_that_says_nothing_of_the_number_leaves_it_alone(world: World, code: str | None) -> None:
    welcomed(world)
    tell(world, "undelivered", code=code)
    assert caregiver(world).number_failed_at is None
    world.tick()
    assert world.flags() == []


def test_a_reply_shows_that_the_number_works(world: World) -> None:
    welcomed(world)
    tell(world, "undelivered", code="30005")
    world.now += timedelta(minutes=1)
    world.reply("ok thank you")
    assert caregiver(world).number_failed_at is None
    assert world.flags() == []


def test_a_reply_from_before_the_failure_shows_nothing(world: World) -> None:
    welcomed(world)
    tell(world, "undelivered", code="30005")
    inbox.receive(world.store, sid="late", phone=MOTHER, body="23", received_at=NOW - timedelta(hours=1))
    assert caregiver(world).number_failed_at is not None


def test_a_failure_that_is_told_after_a_reply_came_is_over_already(world: World) -> None:
    welcomed(world)
    world.now += timedelta(minutes=1)
    world.reply("ok thank you")
    tell(world, "undelivered", code="30005")
    assert caregiver(world).number_failed_at is None


def test_an_old_failure_told_late_does_not_count_against_a_later_message_that_arrived(world: World) -> None:
    welcomed(world)
    world.live_until(NOW + timedelta(days=2, hours=8))
    tell(world, "delivered", sid="sid-2")
    tell(world, "undelivered", sid="sid-1", code="30005")
    assert caregiver(world).number_failed_at is None


def test_a_report_about_an_old_number_says_nothing_of_the_new_one(world: World) -> None:
    welcomed(world)
    with world.store.begin() as connection:
        connection.execute(update(t.caregiver).values(phone="+442079460009"))
    tell(world, "undelivered", code="30005")
    assert caregiver(world).number_failed_at is None


def test_a_number_that_two_children_share_fails_for_both(world: World) -> None:
    world.enrol()
    world.enrol(child_name="Twin")
    world.tick()
    tell(world, "undelivered", code="30005")
    world.tick()
    assert world.flags() == ["number-fails", "number-fails"]


@pytest.mark.parametrize("code", ["21610", "63014"])
def test_whoever_stopped_us_at_the_network_is_written_to_no_more(world: World, code: str) -> None:
    welcomed(world)
    tell(world, "undelivered", code=code)
    assert (caregiver(world).stopped_why, caregiver(world).number_failed_at) == ("asked", None)
    world.live_until(NOW + timedelta(days=10))
    assert world.said() == ["welcome"]
    assert "wants-no-messages" in world.flags()


def test_a_stop_told_once_is_not_pressed_again_after_their_own_start(world: World) -> None:
    welcomed(world)
    tell(world, "undelivered", code="21610")
    world.now += timedelta(minutes=1)
    world.reply("START")
    assert caregiver(world).stopped_at is None
    tell(world, "undelivered", code="21610")
    tell(world, "failed", code=None)
    assert caregiver(world).stopped_at is None


# --- any order ----------------------------------------------------------------------------------------------

SIDS = ("sid-1", "sid-2", "stranger")
CODES = (None, "30005", "30006", "30003", "21610", "99999")
told = st.tuples(st.sampled_from(SIDS), st.sampled_from((*ORDER, "teleported")), st.sampled_from(CODES))
reports = st.lists(told, max_size=7, unique_by=lambda one: one[:2])


def end_of(store: Store) -> list[Any]:
    """What reports can change, but for the moments at which they came."""
    world = World(store, Network(), 0)
    rows = [(one.state, one.sid, one.delivery, one.delivery_code, one.sent_at) for one in world.rows(t.outbox)]
    people = [
        (one.number_failed_at, one.number_failed_code, one.stopped_at, one.stopped_why)
        for one in world.rows(t.caregiver)
    ]
    kept = sorted((one.sid, one.status, one.reference, one.code or "") for one in world.rows(t.delivery_report))
    return [rows, people, kept]


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    reports,
    st.data(),
    st.sampled_from(["sent", "sending", "in_doubt", "unknown", "queued"]),
    st.booleans(),
    st.booleans(),
)
def test_the_same_reports_end_the_same_in_any_order_repeated_early_or_forged(
    world: World, given_reports: list[Any], data: st.DataObject, state: str, by_sid_only: bool, failed_before: bool
) -> None:
    """Two messages to one number, the second perhaps not settled; a stranger's message with our reference on it.

    The network says the same each time that it repeats a report.
    """
    once = data.draw(st.permutations(given_reports))
    again = data.draw(st.permutations([*given_reports, *given_reports]))
    ends = []
    for order in (once, again):
        _begin(world, state, failed_before)
        references = {"sid-1": message(world).key, "sid-2": message(world, 1).key, "stranger": message(world).key}
        for sid, status, code in order:
            reference = None if by_sid_only and sid == "sid-1" else references[sid]
            tell(world, status, sid=sid, reference=reference, code=code)
        ends.append(end_of(world.store))
    assert ends[0] == ends[1]


def _begin(world: World, state: str, failed_before: bool) -> None:
    """The cast before any report: the first message was sent, the second is in `state`."""
    if not world.rows(t.child):
        welcomed(world)
        world.live_until(NOW + timedelta(days=2, hours=8))
        assert len(world.rows(t.outbox)) == 2
    first, second = (row.id for row in world.rows(t.outbox))
    settled = {"delivery": None, "delivery_code": None, "delivery_at": None, "attempt": 1, "handed_at": NOW}
    with world.store.begin() as connection:
        connection.execute(delete(t.delivery_report))
        for row_id, values in (
            (first, {"state": "sent", "sid": "sid-1", "sent_at": NOW}),
            (
                second,
                {"state": state, "sid": "sid-2", "sent_at": NOW + timedelta(days=2)}
                if state == "sent"
                else {"state": state, "sid": None, "sent_at": None},
            ),
        ):
            connection.execute(update(t.outbox).where(t.outbox.c.id == row_id).values({**settled, **values}))
        failure = (NOW, "30004") if failed_before else (None, None)
        connection.execute(
            update(t.caregiver).values(
                stopped_at=None, stopped_why=None, number_failed_at=failure[0], number_failed_code=failure[1]
            )
        )


def test_the_words_of_the_network_that_we_order_are_those_it_uses_for_what_we_send() -> None:
    # Twilio's public API description, 2010-04-01, enum message_enum_status, READ; left out: what is only said of
    # messages that come in (receiving, received) and of those to several people (partially_delivered).
    assert set(delivery.ORDER) == {
        *("queued", "sending", "sent", "failed", "delivered", "undelivered"),
        *("accepted", "scheduled", "read", "canceled"),
    }
