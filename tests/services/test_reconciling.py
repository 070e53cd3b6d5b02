"""Messages in doubt: found at the network, sent again when surely not there, left alone while nobody can look.

The rules are those of the transactional outbox as the project states it (PRACTICE); the network here keeps or loses
what it is handed, whatever it answers.
"""

from datetime import UTC, datetime, timedelta
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from opened_clinics import open_clinic
from sqlalchemy import insert
from world import NOW, ZONE, Network, World

from bracewatch.messages.adapter import Listed, NotSent, Outcome
from bracewatch.messages.kinds import Kind
from bracewatch.services import enrolment, outgoing
from bracewatch.services.reconciling import Sought, match, reconcile
from bracewatch.services.timing import Timing
from bracewatch.store import Store
from bracewatch.store import tables as t

TIMEOUT = NotSent(Outcome.IN_DOUBT, "timeout", "no answer")
EVENING = datetime(2026, 9, 1, 18, tzinfo=UTC)
A_MINUTE = timedelta(minutes=1)


def listed(
    sid: str, at: datetime, to: str = "+442079460001", body: str = "How many hours?", status: str = "sent"
) -> Listed:
    return Listed(sid, to, body, at, status)


def sought(row_id: int, at: datetime, to: str = "+442079460001", body: str = "How many hours?") -> Sought:
    return Sought(row_id, to, body, at - A_MINUTE, at + A_MINUTE)


# Which listed message is which row's.


def test_of_the_same_text_on_eight_evenings_the_moment_tells_which() -> None:
    evenings = [EVENING + timedelta(days=day) for day in range(8)]
    messages = [listed(f"SM{day}", at) for day, at in enumerate(evenings)]
    for day, at in enumerate(evenings):
        assert match([sought(1, at)], messages, set())[1].sid == f"SM{day}"
        assert match([sought(1, at)], messages[:day] + messages[day + 1 :], set()) == {}


def test_two_equal_rows_take_a_message_each_the_oldest_first() -> None:
    messages = [listed("SM2", EVENING + timedelta(seconds=2)), listed("SM1", EVENING)]
    rows = [sought(1, EVENING), sought(2, EVENING + timedelta(seconds=1))]
    assert {row: message.sid for row, message in match(rows, messages, set()).items()} == {1: "SM1", 2: "SM2"}
    assert len(match(rows, messages[:1], set())) == 1


@pytest.mark.parametrize(
    "message",
    [
        listed("SM1", EVENING, to="+442079460002"),
        listed("SM1", EVENING, body="How many hours? "),
        listed("SM1", EVENING - 2 * A_MINUTE),
        listed("SM1", EVENING + 2 * A_MINUTE),
        listed("SM1", EVENING, status="failed"),
        listed("SM-taken", EVENING),
    ],
)
def test_another_number_text_moment_or_row_is_another_message(message: Listed) -> None:
    assert match([sought(1, EVENING)], [message], {"SM-taken"}) == {}


minutes = st.integers(0, 6).map(lambda minute: EVENING + minute * A_MINUTE)


@given(spans=st.lists(st.tuples(minutes, st.integers(0, 4)), max_size=4), moments=st.lists(minutes, max_size=4))
def test_as_many_are_found_as_any_way_of_pairing_finds(
    spans: list[tuple[datetime, int]], moments: list[datetime]
) -> None:
    rows = [Sought(n, "+442079460001", "b", at, at + long * A_MINUTE) for n, (at, long) in enumerate(spans)]
    messages = [listed(f"SM{n}", at, body="b") for n, at in enumerate(moments)]
    found = match(rows, messages, set())
    assert len({message.sid for message in found.values()}) == len(found)
    assert all(rows[n].earliest <= message.created_at <= rows[n].latest for n, message in found.items())
    padded = [*messages, *[None] * len(rows)]
    most = max(
        sum(m is not None and row.earliest <= m.created_at <= row.latest for row, m in zip(rows, way, strict=False))
        for way in permutations(padded, len(rows))
    )
    assert len(found) == most


# What becomes of a row in doubt.


def in_doubt(world: World, *, kept: bool) -> None:
    world.enrol()
    world.network.failures = [TIMEOUT]
    world.network.keeps_though_failing = kept
    assert world.tick().in_doubt == 1
    world.network.keeps_though_failing = False


def states(world: World) -> list[str]:
    return [row.state for row in world.rows(t.outbox)]


def test_what_the_network_has_after_all_is_sent_and_not_handed_over_again(world: World) -> None:
    in_doubt(world, kept=True)
    world.now += A_MINUTE
    assert world.tick().sent == 0
    (row,) = world.rows(t.outbox)
    assert (row.state, row.sid, row.sent_at) == ("sent", "sid-1", NOW)
    assert len(world.network.handed) == 1


def test_what_the_network_never_had_is_sent_once_more(world: World) -> None:
    in_doubt(world, kept=False)
    world.now += A_MINUTE
    assert world.tick().sent == 1
    assert len(world.network.handed) == 2
    assert len(world.network.kept) == 1


def test_nothing_is_concluded_before_two_timeouts_have_passed(world: World) -> None:
    in_doubt(world, kept=False)
    world.now += Timing().looked_for_after - timedelta(seconds=1)
    assert reconcile(world.store, world.network, lambda: world.now).waiting == 1
    assert states(world) == ["in_doubt"]


def test_while_the_list_cannot_be_read_it_stays_in_doubt_and_then_is_unknown(world: World) -> None:
    in_doubt(world, kept=True)
    world.network.list_down = True
    world.now += timedelta(days=6)
    assert reconcile(world.store, world.network, lambda: world.now).waiting == 1
    world.now += timedelta(days=2)
    assert reconcile(world.store, world.network, lambda: world.now).unknown == 1
    assert states(world) == ["unknown"]
    assert len(world.network.handed) == 1


def test_what_was_never_sent_and_is_of_no_use_any_more_expires(world: World) -> None:
    in_doubt(world, kept=False)
    world.now += timedelta(days=8)
    assert reconcile(world.store, world.network, lambda: world.now).expired == 1
    assert states(world) == ["expired"]


def report(world: World, sid: str, reference: str, status: str = "queued") -> None:
    with world.store.begin() as connection:
        values = {"sid": sid, "status": status, "reference": reference, "received_at": world.now}
        connection.execute(insert(t.delivery_report).values(values))


def test_a_delivery_report_with_our_reference_settles_it_at_once_without_the_list(world: World) -> None:
    in_doubt(world, kept=True)
    report(world, "sid-1", world.rows(t.outbox)[0].key)
    world.network.list_down = True
    assert reconcile(world.store, world.network, lambda: world.now).sent == 1
    assert world.rows(t.outbox)[0].sid == "sid-1"


def test_a_delivery_report_of_another_message_settles_nothing(world: World) -> None:
    in_doubt(world, kept=True)
    report(world, "sid-9", "welcome:9")
    assert reconcile(world.store, world.network, lambda: world.now).waiting == 1
    assert states(world) == ["in_doubt"]


def test_a_message_whose_report_names_another_row_is_not_taken(world: World) -> None:
    in_doubt(world, kept=True)
    report(world, "sid-1", "welcome:9")
    world.now += A_MINUTE
    assert reconcile(world.store, world.network, lambda: world.now).queued == 1


def same_text(world: World, key: str, due_at: datetime) -> None:
    with world.store.begin() as connection:
        person = world.rows(t.caregiver)[0]
        outgoing.queue(
            connection,
            outgoing.addressees(connection, [person.id])[person.id],
            key=key,
            kind=Kind.THANKS,
            due_at=due_at,
            useful_until=due_at + timedelta(hours=3),
            now=world.now,
        )


def test_the_same_text_on_eight_evenings_arrives_eight_times_whatever_the_network_answers(world: World) -> None:
    world.enrol(agreed_at=None)
    for evening in range(8):
        world.now = NOW + timedelta(days=evening)
        same_text(world, f"answer:{evening}", world.now)
        world.network.failures = [TIMEOUT]
        world.network.keeps_though_failing = evening % 2 == 0
        world.tick()
        world.network.failures = []
        world.now += A_MINUTE
        world.tick()
    assert len(world.network.kept) == 8
    assert states(world) == ["sent"] * 8
    assert sorted(row.sid for row in world.rows(t.outbox)) == [f"sid-{n}" for n in range(1, 9)]


def test_two_equal_messages_in_doubt_of_which_one_arrived_end_as_two(world: World) -> None:
    world.enrol(agreed_at=None)
    same_text(world, "answer:1", world.now)
    world.network.failures = [TIMEOUT]
    world.network.keeps_though_failing = True
    world.tick()
    same_text(world, "answer:2", world.now)
    world.network.failures = [TIMEOUT]
    world.network.keeps_though_failing = False
    world.tick()
    world.now += A_MINUTE
    world.tick()
    assert len(world.network.kept) == 2
    assert states(world) == ["sent", "sent"]


# Faults and deaths in any order.


class Killed(BaseException):
    """The process dies at this point."""


STEPS = st.sampled_from(["ok", "busy", "lost", "kept", "dies before", "dies after", "list down", "later", "much later"])


@settings(max_examples=30)
@given(steps=st.lists(STEPS, min_size=1, max_size=12))
def test_faults_and_deaths_in_any_order_double_nothing_and_lose_nothing(
    tmp_path_factory: pytest.TempPathFactory, steps: list[str]
) -> None:
    store = Store(f"sqlite:///{tmp_path_factory.mktemp('faults') / 'families.sqlite3'}", survives_power_cuts=False)
    store.migrate()
    world = _opened(store)
    world.enrol(agreed_at=None)
    for number, step in enumerate(steps):
        same_text(world, f"answer:{number}", world.now)
        _take(world, step)
    world.network.failures, world.network.list_down = [], False
    for _ in range(4):
        world.now += timedelta(minutes=6)
        world.tick()
    store.close()
    assert states(world) == ["sent"] * len(steps)
    assert len(world.network.kept) == len(steps)


def _opened(store: Store) -> World:
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", ZONE, "tue", "+441134960001")
    return World(store, Network(), open_clinic(store, clinic))


def _take(world: World, step: str) -> None:
    network, send = world.network, type(world.network).send
    network.list_down = step == "list down"
    network.keeps_though_failing = step == "kept"
    network.failures = {"busy": [NotSent(Outcome.TRANSIENT, "429", "busy")], "lost": [TIMEOUT], "kept": [TIMEOUT]}.get(
        step, []
    )
    world.now += {"later": A_MINUTE, "much later": timedelta(minutes=40)}.get(step, timedelta(seconds=3))

    def die(message: object) -> None:
        if step == "dies after":
            send(network, message)  # type: ignore[arg-type]
        raise Killed

    if step.startswith("dies"):
        network.send = die  # type: ignore[assignment, method-assign]
    try:
        world.tick()
    except Killed:
        pass
    finally:
        network.__dict__.pop("send", None)
