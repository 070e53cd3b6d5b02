from datetime import UTC, datetime, timedelta, timezone

import pytest
from alembic import command
from sqlalchemy import insert, inspect, select, text
from sqlalchemy.exc import IntegrityError, StatementError

from bracewatch.store import Store
from bracewatch.store import tables as t
from bracewatch.store.database import migration_config
from bracewatch.store.upsert import insert_if_new

CLINIC = {
    "key": "hill",
    "name": "Green Hill",
    "country": "KE",
    "time_zone": "Africa/Nairobi",
    "clinic_days": "tue",
    "phone": "+441134960001",
}


def test_the_migrations_make_exactly_the_tables_of_the_models(empty_store: Store) -> None:
    empty_store.migrate()
    assert set(inspect(empty_store.engine).get_table_names()) == {*t.metadata.tables, "alembic_version"}
    with empty_store.engine.connect() as connection:
        command.check(migration_config(connection))  # raises when models and migrations differ


def test_migrating_twice_changes_nothing(store: Store) -> None:
    with store.begin() as connection:
        connection.execute(insert(t.clinic).values(**CLINIC))
    store.migrate()
    with store.read() as connection:
        assert connection.execute(select(t.clinic.c.name)).scalars().all() == ["Green Hill"]


def test_the_migrations_can_be_taken_back(store: Store) -> None:
    with store.engine.connect() as connection:
        command.downgrade(migration_config(connection), "base")
    assert set(inspect(store.engine).get_table_names()) == {"alembic_version"}


def test_a_transaction_that_fails_leaves_no_trace(store: Store) -> None:
    def write_and_fail() -> None:
        with store.begin() as connection:
            connection.execute(insert(t.clinic).values(**CLINIC))
            raise RuntimeError("half-way")

    with pytest.raises(RuntimeError, match="half-way"):
        write_and_fail()
    with store.read() as connection:
        assert connection.execute(select(t.clinic)).all() == []


def test_rows_that_point_at_nothing_are_refused(store: Store) -> None:
    with pytest.raises(IntegrityError), store.begin() as connection:
        connection.execute(insert(t.clinic_closed_day).values(clinic_id=99, day=datetime.now(UTC).date(), reason="x"))


def test_a_moment_comes_back_in_utc_and_a_naive_one_is_refused(store: Store) -> None:
    noon = datetime(2026, 9, 1, 12, tzinfo=timezone(timedelta(hours=3)))
    child = {"name": "Tumaini", "born": noon.date(), "enrolled_on": noon.date()}
    with store.begin() as connection:
        clinic_id = connection.execute(insert(t.clinic).values(**CLINIC).returning(t.clinic.c.id)).scalar_one()
        connection.execute(insert(t.child).values(clinic_id=clinic_id, enrolled_at=noon, wake_at=noon, **child))
        kept = connection.execute(select(t.child.c.enrolled_at)).scalar_one()
        assert (kept, kept.tzinfo) == (noon, UTC)
    naive = noon.replace(tzinfo=None)
    with pytest.raises(StatementError, match="aware"), store.begin() as connection:
        connection.execute(insert(t.child).values(clinic_id=clinic_id, enrolled_at=naive, **child))


def test_only_one_flag_of_a_kind_stands_for_a_child(store: Store) -> None:
    now = datetime(2026, 9, 1, 12, tzinfo=UTC)
    flag = {"code": "low-wear", "urgency": 2, "sentence": "x", "evidence": [], "since": now, "raised_at": now}
    with store.begin() as connection:
        clinic_id = connection.execute(insert(t.clinic).values(**CLINIC).returning(t.clinic.c.id)).scalar_one()
        child = {"name": "Tumaini", "born": now.date(), "enrolled_on": now.date(), "enrolled_at": now}
        child_id = connection.execute(
            insert(t.child).values(clinic_id=clinic_id, **child).returning(t.child.c.id)
        ).scalar_one()
        connection.execute(insert(t.flag).values(child_id=child_id, cleared_at=now, **flag))
        connection.execute(insert(t.flag).values(child_id=child_id, **flag))
    with pytest.raises(IntegrityError), store.begin() as connection:
        connection.execute(insert(t.flag).values(child_id=child_id, **flag))


def test_insert_if_new_tells_whether_it_wrote(store: Store) -> None:
    with store.begin() as connection:
        assert insert_if_new(connection, t.clinic, "key", **CLINIC) is not None
        assert insert_if_new(connection, t.clinic, "key", **{**CLINIC, "name": "Other"}) is None
        assert connection.execute(select(t.clinic.c.name)).scalars().all() == ["Green Hill"]


def test_sqlite_writes_ahead_fully_and_minds_its_foreign_keys(store: Store) -> None:
    if store.engine.dialect.name != "sqlite":
        assert store.engine.dialect.name == "postgresql"
        return
    with store.read() as connection:
        settings = {
            name: connection.execute(text(f"PRAGMA {name}")).scalar_one()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert settings == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
