"""The sender when things go wrong around it: gaps, restores, several senders, a full disk, a database that dies.

Two databases, and where it matters a real HTTP provider on this machine's loopback.
"""

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from databases import fresh_database
from opened_clinics import open_clinic
from sqlalchemy import create_engine, event, text, update
from sqlalchemy.exc import OperationalError
from world import NOW, Network, World

from bracewatch.messages.adapter import TOO_LATE, Accepted, NotSent, Outcome, Outgoing
from bracewatch.services import enrolment
from bracewatch.services.reconciling import reconcile
from bracewatch.services.reviewing import review_due
from bracewatch.services.sending import send_due
from bracewatch.services.timing import Timing
from bracewatch.store import Store
from bracewatch.store import tables as t

A_MINUTE = timedelta(minutes=1)
DOWN = NotSent(Outcome.TRANSIENT, "not-connected", "no connection")


def states(world: World) -> list[str]:
    return [row.state for row in world.rows(t.outbox)]


def many(world: World, number: int) -> None:
    for place in range(number):
        world.enrol(phone=f"+442079460{100 + place}")
    review_due(world.store, world.now)


# What fails and passes, and what fails for good.


def test_a_network_that_is_down_for_half_an_hour_delays_and_neither_loses_nor_doubles(world: World) -> None:
    many(world, 3)
    world.network.list_down = True
    for _ in range(30):
        world.network.failures = [DOWN] * 3
        world.tick()
        world.now += A_MINUTE
    world.network.list_down, world.network.failures = False, []
    for _ in range(20):
        world.tick()
        world.now += A_MINUTE
    assert states(world) == ["sent"] * 3
    assert len(world.network.kept) == 3


def test_waits_double_up_to_a_limit_and_go_on_until_the_message_is_of_no_use() -> None:
    waits = [Timing().wait_after(attempt) // A_MINUTE for attempt in (1, 2, 3, 4, 5, 6, 400)]
    assert waits == [1, 2, 4, 8, 15, 15, 15]


def test_a_message_that_fails_for_a_week_expires_and_never_fails_for_good(world: World) -> None:
    world.enrol()
    world.network.failures = [DOWN] * 1000
    while world.now < NOW + timedelta(days=7, hours=1):
        world.now += timedelta(hours=6)
        send_due(world.store, world.network, lambda: world.now, "test")
        review_due(world.store, world.now) if world.now == NOW + timedelta(hours=6) else None
    assert states(world)[0] == "expired"


def test_a_number_that_nothing_gets_through_to_is_noted_and_the_child_reviewed(world: World) -> None:
    child_id = world.enrol()
    review_due(world.store, world.now)
    failure = NotSent(Outcome.PERMANENT, "30005", "no such number", about_number=True)
    world.network.failures = [failure]
    send_due(world.store, world.network, lambda: world.now, "test")
    (person,) = world.rows(t.caregiver)
    assert (person.number_failed_at, person.number_failed_code) == (NOW, "30005")
    assert world.rows(t.child, t.child.c.id == child_id)[0].wake_at == NOW


def test_a_message_that_cannot_be_sent_says_nothing_about_the_number(world: World) -> None:
    world.enrol()
    world.network.failures = [NotSent(Outcome.PERMANENT, "no-message", "the body has 1,601 characters")]
    world.tick()
    (person,) = world.rows(t.caregiver)
    assert (states(world), person.number_failed_at) == (["failed"], None)


def test_somebody_who_told_the_network_to_stop_is_written_to_no_more(world: World) -> None:
    world.enrol()
    world.network.failures = [NotSent(Outcome.OPTED_OUT, "21610", "stopped")]
    world.tick()
    world.live_until(NOW + timedelta(days=9))
    (person,) = world.rows(t.caregiver)
    assert (person.stopped_why, person.number_failed_at) == ("asked", None)
    assert len(world.network.handed) == 1


def test_a_message_that_came_too_late_loses_no_attempt_and_goes_out_later(world: World) -> None:
    world.enrol()
    world.network.failures = [NotSent(Outcome.TRANSIENT, TOO_LATE, "too late")]
    assert world.tick().later == 1
    assert [(row.state, row.attempt) for row in world.rows(t.outbox)] == [("queued", 0)]
    world.now += A_MINUTE
    assert world.tick().sent == 1


# A claim that was lost meanwhile.


def suspended_in_the_hand_over(world: World, meanwhile: Callable[[], None]) -> None:
    """The network takes the message; its answer is read only after the lease, by when `meanwhile` has happened."""
    world.enrol()
    review_due(world.store, world.now)
    send = world.network.send

    def slow(message: Outgoing) -> Accepted:
        accepted = send(message)
        world.now += timedelta(minutes=6)
        del world.network.send  # type: ignore[misc]
        meanwhile()
        return accepted

    world.network.send = slow  # type: ignore[method-assign]
    send_due(world.store, world.network, lambda: world.now, "suspended")


def test_an_answer_that_is_read_after_the_lease_is_still_written_down(world: World) -> None:
    def another_sender() -> None:
        assert send_due(world.store, world.network, lambda: world.now, "another").in_doubt == 1

    suspended_in_the_hand_over(world, another_sender)
    assert [(row.state, row.sid) for row in world.rows(t.outbox)] == [("sent", "sid-1")]
    assert len(world.network.kept) == 1


def test_an_answer_to_a_row_that_another_has_settled_changes_nothing(world: World) -> None:
    def another_sender() -> None:
        send_due(world.store, world.network, lambda: world.now, "another")
        world.now += A_MINUTE
        assert reconcile(world.store, world.network, lambda: world.now).sent == 1

    suspended_in_the_hand_over(world, another_sender)
    assert [(row.state, row.sid) for row in world.rows(t.outbox)] == [("sent", "sid-1")]


def test_the_networks_own_answer_outweighs_what_was_only_found_to_fit(world: World) -> None:
    world.enrol()
    world.enrol(phone="+442079460002")
    review_due(world.store, world.now)
    first, second = world.rows(t.outbox)
    with world.store.begin() as connection:
        took_it = {"state": "sent", "sid": "sid-1", "sent_at": NOW}
        connection.execute(update(t.outbox).where(t.outbox.c.id == second.id).values(took_it))
    send_due(world.store, world.network, lambda: world.now, "test")
    assert [(row.id, row.state, row.sid) for row in world.rows(t.outbox)] == [
        (first.id, "sent", "sid-1"),
        (second.id, "in_doubt", None),
    ]


# Gaps and restores.


def test_after_a_gap_what_was_due_before_is_looked_for_before_it_is_sent(world: World) -> None:
    many(world, 2)
    first = world.rows(t.outbox)[0]
    world.network.send(Outgoing(first.phone, first.body, first.key, timedelta(1)))  # unknown to this database
    world.now += timedelta(hours=1)
    done = send_due(world.store, world.network, lambda: world.now, "test")
    assert (done.found, done.sent) == (1, 1)
    assert states(world) == ["sent", "sent"]
    assert len(world.network.kept) == 2


def test_after_a_gap_nothing_of_before_is_sent_blindly_and_what_is_new_goes_out(world: World) -> None:
    many(world, 2)
    world.network.list_down = True
    world.now += timedelta(hours=1)
    assert send_due(world.store, world.network, lambda: world.now, "test").later == 2
    world.enrol()
    assert world.tick().sent == 1
    assert states(world) == ["queued", "queued", "sent"]
    world.network.list_down = False
    world.now += timedelta(seconds=5)
    assert world.tick().sent == 2


def test_without_a_gap_nothing_is_looked_for(world: World) -> None:
    world.tick()
    world.network.list_down = True
    world.now += timedelta(seconds=50)
    many(world, 1)
    world.now += timedelta(seconds=5)
    assert send_due(world.store, world.network, lambda: world.now, "test").sent == 1


@contextmanager
def backup_of(store: Store, folder: Path) -> Iterator[str]:
    """The URL of a real copy of the database as it is now."""
    if store.engine.dialect.name == "sqlite":
        with closing(sqlite3.connect(str(store.url.database))) as connection:
            connection.execute("VACUUM INTO ?", (str(folder / "backup.sqlite3"),))
        yield f"sqlite:///{folder / 'backup.sqlite3'}"
        return
    store.close()
    name = f"{store.url.database}_backup"
    admin = create_engine(store.url.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}" TEMPLATE "{store.url.database}"'))
    try:
        yield store.url.set(database=name).render_as_string(hide_password=False)
    finally:
        with admin.connect() as connection:
            connection.execute(text(f'DROP DATABASE "{name}" WITH (FORCE)'))
        admin.dispose()


def test_a_restore_of_yesterdays_backup_sends_nothing_of_yesterday_again(world: World, tmp_path: Path) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=6))
    with backup_of(world.store, tmp_path) as url:
        world.live_until(NOW + timedelta(days=7, hours=7))  # a day with a check-in, still of use
        sent_by_then = len(world.network.kept)
        restored = World(Store(url), world.network, world.clinic_id, world.now)
        try:
            assert len(restored.rows(t.outbox, t.outbox.c.state == "sent")) < sent_by_then
            restored.tick()
            assert len(world.network.kept) == sent_by_then
            assert {row.state for row in restored.rows(t.outbox)} == {"sent"}
            assert len(restored.rows(t.outbox)) == sent_by_then
            restored.live_until(NOW + timedelta(days=20))
            assert len(world.network.kept) > sent_by_then
        finally:
            restored.store.close()


# Several senders, priorities, pace.


def test_several_senders_at_once_send_each_message_once(world: World) -> None:
    many(world, 40)

    def send_all(owner: str) -> None:
        while any(state != "sent" for state in states(world)):
            send_due(world.store, world.network, lambda: world.now, owner)

    senders = [threading.Thread(target=send_all, args=(f"sender-{number}",)) for number in range(4)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join(timeout=60)
    assert len(world.network.kept) == 40
    assert len({row.sid for row in world.rows(t.outbox)}) == 40


def test_two_schedulers_started_by_mistake_do_no_harm(world: World) -> None:
    many(world, 20)

    def tick(owner: str) -> None:
        for _ in range(3):
            review_due(world.store, world.now)
            reconcile(world.store, world.network, lambda: world.now)
            send_due(world.store, world.network, lambda: world.now, owner)

    both = [threading.Thread(target=tick, args=(owner,)) for owner in ("one", "two")]
    for scheduler in both:
        scheduler.start()
    for scheduler in both:
        scheduler.join(timeout=60)
    assert len(world.network.kept) == len(world.rows(t.outbox)) == 20


def test_an_urgent_answer_goes_out_before_everything_that_was_due_earlier(world: World) -> None:
    many(world, 3)
    world.enrol()
    for body in ("ok 20", "his toes are blue"):
        with_send = world.network.send
        world.network.send = lambda _: (_ for _ in ()).throw(DOWN)  # type: ignore[method-assign]
        world.reply(body)
        world.network.send = with_send  # type: ignore[method-assign]
    world.now += timedelta(minutes=20)
    world.tick()
    kinds = {row.key: row.kind for row in world.rows(t.outbox)}
    said = [kinds[message.reference] for message in world.network.handed]
    assert said[0] == "trouble_heard"
    assert "welcome" not in said[:2]


class Time:
    """A clock that moves only when somebody sleeps."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> Any:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


def test_a_senders_parts_keep_its_pace_over_all_processes(world: World) -> None:
    many(world, 12)
    time, timing = Time(), Timing(parts_a_second=1.0)
    world.network.clock = time
    for _ in range(4):
        for owner in ("one", "two"):
            send_due(world.store, world.network, time, owner, timing=timing, sleep=time.sleep)
    moments = [message.created_at for message in world.network.kept]
    parts = [row.parts for row in world.rows(t.outbox)]
    assert len(moments) == 12
    assert all(later - earlier >= timedelta(seconds=min(parts)) for earlier, later in pairwise(moments))


def test_the_pace_of_one_sender_does_not_hold_up_another(world: World) -> None:
    many(world, 12)
    with world.store.begin() as connection:
        connection.execute(update(t.clinic).values(sender="+441134960777"))
        connection.execute(t.sender_pace.insert().values(sender="+441134960777", free_at=NOW + timedelta(hours=1)))
    time, timing = Time(), Timing(parts_a_second=1.0)
    assert send_due(world.store, world.network, time, "one", timing=timing, sleep=time.sleep).sent == 0
    with world.store.begin() as connection:
        connection.execute(update(t.clinic).values(sender=None))
    assert send_due(world.store, world.network, time, "one", timing=timing, sleep=time.sleep).sent > 0


def test_a_clinics_own_sender_is_shown_and_without_one_the_settings_own(world: World) -> None:
    world.enrol()
    world.tick()
    with world.store.begin() as connection:
        connection.execute(update(t.clinic).values(sender="+441134960777"))
    world.enrol(phone="+442079460002")
    world.tick()
    assert [message.sender for message in world.network.handed] == [None, "+441134960777"]


def test_a_sender_that_is_to_end_hands_nothing_more_over_and_gives_its_claims_back(world: World) -> None:
    many(world, 3)
    done = send_due(world.store, world.network, lambda: world.now, "test", ending=lambda: len(world.network.handed) > 0)
    assert done.sent == 1
    assert sorted((row.state, row.attempt) for row in world.rows(t.outbox)) == [("queued", 0)] * 2 + [("sent", 1)]


# The database fails.


def test_a_full_disk_loses_and_doubles_nothing(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'families.sqlite3'}"
    store = Store(url)
    store.migrate()
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", "Africa/Nairobi", "tue", "+441134960001")
    world = World(store, Network(), open_clinic(store, clinic))
    many(world, 30)
    with store.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
    store.close()
    full = Store(url)
    event.listen(full.engine, "connect", lambda connection, _: connection.execute(f"PRAGMA max_page_count = {pages}"))
    troubled = World(full, world.network, world.clinic_id, world.now)
    fill_up(full)
    for _ in range(5):
        try:
            troubled.tick()
        except OperationalError as error:
            assert "full" in str(error)  # noqa: PT017 - it may also pass
        troubled.now += timedelta(minutes=6)
    full.close()
    relieved = World(Store(url), world.network, world.clinic_id, troubled.now)
    for _ in range(3):
        relieved.now += timedelta(minutes=6)
        relieved.tick()
    assert states(relieved) == ["sent"] * 30
    assert len(world.network.kept) == 30
    relieved.store.close()


def fill_up(store: Store) -> None:
    """Use up what is left on the pages there are."""
    with pytest.raises(OperationalError, match="full"):
        write_until_it_fails(store)


def write_until_it_fails(store: Store) -> None:
    for number in range(10_000):
        with store.begin() as connection:
            values = {"sid": f"SM{number}" * 20, "status": "sent", "received_at": NOW}
            connection.execute(t.delivery_report.insert().values(values))


def test_a_database_that_dies_midway_loses_and_doubles_nothing(postgres: str) -> None:
    with fresh_database(postgres, "dies_midway") as url:
        database = Store(url)
        database.migrate()
        clinic = enrolment.NewClinic("hill", "Green Hill", "KE", "Africa/Nairobi", "tue", "+441134960001")
        world = World(database, Network(), open_clinic(database, clinic))
        many(world, 25)
        admin = create_engine(postgres, isolation_level="AUTOCOMMIT")
        send = world.network.send

        def dies_with_every_seventh(message: Outgoing) -> Accepted:
            accepted = send(message)
            if len(world.network.kept) % 7 == 0:
                with admin.connect() as connection:
                    ends = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = 'dies_midway'"
                    connection.execute(text(ends))
            return accepted

        world.network.send = dies_with_every_seventh  # type: ignore[method-assign]
        broke = 0
        for _ in range(12):
            try:
                world.tick()
            except OperationalError:
                broke += 1
            world.now += timedelta(minutes=6)
        assert broke > 0
        assert states(world) == ["sent"] * 25
        assert len(world.network.kept) == 25
        database.close()
        admin.dispose()
