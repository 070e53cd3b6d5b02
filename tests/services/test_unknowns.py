"""Messages of which nobody can say whether they arrived: staff decide."""

from datetime import timedelta

import pytest
from sqlalchemy import update
from world import NOW, World

from bracewatch.services.unknowns import NotOpen, settle
from bracewatch.store import tables as t


def open_row(world: World, state: str) -> int:
    world.enrol()
    world.tick()
    with world.store.begin() as connection:
        connection.execute(update(t.outbox).values(state=state, sid=None, sent_at=None))
    return int(world.rows(t.outbox)[0].id)


@pytest.mark.parametrize("state", ["unknown", "in_doubt"])
def test_one_that_arrived_is_sent_at_the_moment_it_was_handed_over(world: World, state: str) -> None:
    row_id = open_row(world, state)
    later = NOW + timedelta(hours=2)
    assert settle(world.store, row_id, arrived=True, by="Asha", now=later) == "sent"
    (row,) = world.rows(t.outbox)
    assert (row.state, row.sent_at, row.settled_by, row.settled_at) == ("sent", NOW, "Asha", later)


def test_one_that_did_not_arrive_is_sent_again_while_it_is_of_use(world: World) -> None:
    row_id = open_row(world, "in_doubt")
    assert settle(world.store, row_id, arrived=False, by="Asha", now=NOW) == "queued"
    assert world.tick().sent == 1


def test_one_that_did_not_arrive_expires_when_it_is_of_no_use_any_more(world: World) -> None:
    row_id = open_row(world, "unknown")
    assert settle(world.store, row_id, arrived=False, by="Asha", now=NOW + timedelta(days=8)) == "expired"


@pytest.mark.parametrize("state", ["sent", "queued", "failed", "expired", "withdrawn"])
def test_what_is_known_is_not_decided_about(world: World, state: str) -> None:
    row_id = open_row(world, state)
    with pytest.raises(NotOpen, match="not in doubt any more"):
        settle(world.store, row_id, arrived=True, by="Asha", now=NOW)
    assert world.rows(t.outbox)[0].state == state


def test_nobody_decides_without_a_name(world: World) -> None:
    row_id = open_row(world, "unknown")
    with pytest.raises(NotOpen, match="who"):
        settle(world.store, row_id, arrived=True, by=" ", now=NOW)
    assert world.rows(t.outbox)[0].state == "unknown"
