"""Replies that came while nobody listened: fetched once, in the order in which they came."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete
from world import MOTHER, NOW, World

from bracewatch.services import inbox
from bracewatch.services.catching_up import OVERLAP, catch_up
from bracewatch.store import tables as t

BACK = NOW + timedelta(days=2, hours=12)  # when we listen again; the check-in went out six hours before
ASKED = NOW + timedelta(days=2, hours=6)


@dataclass(frozen=True)
class Came:
    sid: str
    body: str
    received_at: datetime
    phone: str = MOTHER


class Down(Exception):
    """The list could not be read."""


class Listing:
    """The network's list. It notes from when on it was asked."""

    def __init__(self, *replies: Came, breaks: bool = False) -> None:
        self.replies = replies
        self.breaks = breaks
        self.asked_since: list[datetime] = []

    def heard(self, since: datetime) -> list[Came]:
        self.asked_since.append(since)
        if self.breaks:
            raise Down
        return [reply for reply in self.replies if reply.received_at >= since]


def fetch(world: World, listing: Listing) -> int:
    return catch_up(world.store, "network", listing.heard, world.now)


def replies_until(world: World) -> datetime | None:
    with world.store.read() as connection:
        moment: datetime | None = connection.execute(t.network.select()).one().replies_until
    return moment


@pytest.fixture
def asked(world: World) -> World:
    """A family that was asked for hours, six hours before we listen again."""
    world.enrol()
    world.live_until(ASKED)
    assert world.said() == ["welcome", "check_in_hours"]
    world.now = BACK
    return world


def test_replies_are_taken_in_with_the_moment_at_which_they_came(asked: World) -> None:
    came = ASKED + timedelta(hours=1)
    assert fetch(asked, Listing(Came("a", "4", came))) == 1
    kept = asked.rows(t.inbound)[0]
    assert (kept.body, kept.received_at, kept.asked) == ("4", came, "hours")
    assert asked.rows(t.wear_report)[0].heard_at == came
    asked.tick()
    assert "low-wear" in asked.flags()


def test_running_it_again_takes_nothing_in_twice(asked: World) -> None:
    listing = Listing(Came("a", "4", ASKED), Came("b", "call me", ASKED))
    assert fetch(asked, listing) == 2
    rows = asked.rows(t.inbound)
    asked.now += timedelta(minutes=5)
    assert fetch(asked, listing) == 0
    assert asked.rows(t.inbound) == rows


def test_what_came_in_while_we_listened_is_not_taken_in_again(asked: World) -> None:
    inbox.receive(asked.store, sid="a", phone=MOTHER, body="4", received_at=ASKED)
    assert fetch(asked, Listing(Came("a", "4", ASKED), Came("b", "call me", ASKED + timedelta(hours=1)))) == 1
    assert [row.sid for row in asked.rows(t.inbound)] == ["a", "b"]


def test_they_are_taken_in_as_they_came_whatever_the_order_of_the_list(asked: World) -> None:
    stop, start = Came("z", "STOP", ASKED), Came("a", "START", ASKED + timedelta(hours=1))
    fetch(asked, Listing(start, stop))
    assert [row.sid for row in asked.rows(t.inbound)] == ["z", "a"]
    assert asked.rows(t.caregiver)[0].stopped_at is None


def test_a_stop_that_came_last_stands(asked: World) -> None:
    fetch(asked, Listing(Came("a", "STOP", ASKED + timedelta(hours=1)), Came("z", "START", ASKED)))
    assert asked.rows(t.caregiver)[0].stopped_why == "asked"


def test_an_answer_that_is_too_late_to_help_is_not_sent(asked: World) -> None:
    fetch(asked, Listing(Came("a", "call me", BACK - timedelta(hours=13))))
    asked.tick()
    assert [row.state for row in asked.rows(t.outbox, t.outbox.c.kind == "call_heard")] == ["expired"]
    assert "asked-for-call" in asked.flags()


def test_the_first_look_goes_a_day_back_and_the_next_a_day_before_the_last(asked: World) -> None:
    listing = Listing()
    fetch(asked, listing)
    asked.now += timedelta(days=3)
    fetch(asked, listing)
    assert listing.asked_since == [BACK - OVERLAP, BACK - OVERLAP]
    assert replies_until(asked) == BACK + timedelta(days=3)


def test_a_list_that_cannot_be_read_is_read_from_the_same_moment_the_next_time(asked: World) -> None:
    fetch(asked, Listing())
    asked.now += timedelta(days=3)
    with pytest.raises(Down):
        fetch(asked, Listing(breaks=True))
    assert replies_until(asked) == BACK
    listing = Listing(Came("a", "4", BACK + timedelta(hours=1)))
    assert fetch(asked, listing) == 1
    assert listing.asked_since == [BACK - OVERLAP]


def test_each_network_has_its_own_moment(asked: World) -> None:
    other = Listing()
    fetch(asked, Listing())
    asked.now += timedelta(days=3)
    catch_up(asked.store, "another network", other.heard, asked.now)
    assert other.asked_since == [asked.now - OVERLAP]


def test_a_reply_dated_ahead_of_our_clock_came_now(asked: World) -> None:
    fetch(asked, Listing(Came("a", "4", BACK + timedelta(seconds=30))))
    assert asked.rows(t.inbound)[0].received_at == BACK


def test_a_reply_from_a_number_nobody_has_is_kept_for_staff(asked: World) -> None:
    assert fetch(asked, Listing(Came("a", "hello", ASKED, phone="+442079460999"))) == 1
    assert asked.rows(t.inbound)[0].child_id is None


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.tuples(st.sampled_from("abcdef"), st.integers(0, 96)), max_size=8, unique_by=lambda one: one[0]),
    st.lists(st.tuples(st.integers(1, 40), st.booleans()), min_size=1, max_size=6),
)
def test_every_reply_is_taken_in_once_however_often_we_look_and_the_list_breaks(
    world: World, came: list[tuple[str, int]], looks: list[tuple[int, bool]]
) -> None:
    """Gaps between looks are up to a day and sixteen hours; a broken look changes nothing."""
    if not world.rows(t.child):
        world.enrol()
    with world.store.begin() as connection:
        connection.execute(delete(t.inbound))
        connection.execute(delete(t.network))
    world.now = NOW
    fetch(world, Listing())
    replies = [Came(sid, "call me", NOW + timedelta(hours=hours)) for sid, hours in came]
    for hours, breaks in [*looks, (1, False)]:
        world.now += timedelta(hours=hours)
        visible = [reply for reply in replies if reply.received_at <= world.now]
        try:
            fetch(world, Listing(*visible, breaks=breaks))
        except Down:
            assert breaks
    kept = [row.sid for row in world.rows(t.inbound)]
    assert sorted(kept) == sorted(reply.sid for reply in replies if reply.received_at <= world.now)
