"""Messages counted by what became of them, and in parts by month and family, on both databases."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import insert
from world import NOW, World

from bracewatch.store import tables as t
from bracewatch.store import traffic
from bracewatch.store.traffic import FamilyHanded, Handed, Traffic

DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)


def message(world: World, child_id: int, state: str, **changes: Any) -> None:
    with world.store.begin() as connection:
        row = {
            "key": f"m{len(world.rows(t.outbox))}",
            "child_id": child_id,
            "caregiver_id": child_id,
            "kind": "thanks",
            "asks": "nothing",
            "language": "en",
            "phone": "+442079460001",
            "body": "Thank you.",
            "parts": 1,
            "due_at": NOW,
            "useful_until": NOW + DAY,
            "state": state,
            "created_at": NOW,
            **changes,
        }
        connection.execute(insert(t.outbox).values(row))


def counted(world: World, clinic_id: int | None = None) -> Traffic:
    with world.store.read() as connection:
        return traffic.traffic(connection, clinic_id, sent_since=NOW - DAY, unsent_since=NOW - 30 * DAY)


def test_each_message_is_counted_once_by_its_state(world: World) -> None:
    child = world.enrol()
    for state in ("queued", "sending", "in_doubt", "unknown", "expired", "failed", "withdrawn"):
        message(world, child, state)
    message(world, child, "sent", sent_at=NOW)
    message(world, child, "sent", sent_at=NOW - 2 * DAY)
    message(world, child, "expired", due_at=NOW - 31 * DAY)
    assert counted(world) == counted(world, world.clinic_id) == Traffic(2, 1, 1, 1, 1, 1)
    assert counted(world, 99) == Traffic(0, 0, 0, 0, 0, 0)


def test_nothing_is_counted_where_there_is_nothing(world: World) -> None:
    assert counted(world) == Traffic(0, 0, 0, 0, 0, 0)
    with world.store.read() as connection:
        assert traffic.handed_to(connection, 1) == Handed(0, 0)
        assert traffic.handed_by_family(connection, world.clinic_id, NOW, 10) == []


def test_a_message_in_doubt_is_for_a_person_only_after_a_while_and_the_oldest_comes_first(world: World) -> None:
    child = world.enrol()
    message(world, child, "in_doubt", doubted_at=NOW - 9 * MINUTE, due_at=NOW - DAY)
    message(world, child, "in_doubt", doubted_at=NOW - 11 * MINUTE, body="second")
    message(world, child, "unknown", due_at=NOW - DAY, body="first")
    message(world, child, "failed")
    with world.store.read() as connection:
        lost, total = traffic.lost(connection, None, doubted_before=NOW - 10 * MINUTE, limit=10)
        assert [each.body for each in lost] == ["first", "second"]
        assert total == 2
        lost, total = traffic.lost(connection, world.clinic_id, doubted_before=NOW - 10 * MINUTE, limit=1)
        assert ([each.body for each in lost], total) == (["first"], 2)
        assert traffic.lost(connection, 99, doubted_before=NOW, limit=1) == ([], 0)
        assert traffic.clinic_of(connection, lost[0].id) == world.clinic_id
        assert traffic.clinic_of(connection, 99_999) is None


def test_parts_are_summed_by_month_and_family_from_what_went_out(world: World) -> None:
    one, two = world.enrol(), world.enrol(phone="+442079460002", child_name="Amani")
    months = [
        (date(2026, month, 1), datetime(2026, month, 1, tzinfo=UTC), datetime(2026, month + 1, 1, tzinfo=UTC))
        for month in (8, 9)
    ]
    message(world, one, "sent", sent_at=months[1][1] - MINUTE, parts=2)
    message(world, one, "sent", sent_at=months[1][1], parts=3)
    message(world, two, "sent", sent_at=months[1][1], parts=4)
    message(world, two, "queued", parts=5)
    with world.store.read() as connection:
        by_month = traffic.handed_by_month(connection, world.clinic_id, months)
        assert by_month == {months[0][0]: Handed(1, 2), months[1][0]: Handed(2, 7)}
        assert traffic.handed_by_month(connection, 99, months)[months[0][0]] == Handed(0, 0)
        families = traffic.handed_by_family(connection, world.clinic_id, months[1][1], 10)
        assert families == [FamilyHanded(two, "Amani", Handed(1, 4)), FamilyHanded(one, "Tumaini", Handed(1, 3))]
        assert traffic.handed_to(connection, one) == Handed(2, 5)
