"""One database: its engine, its transactions, its schema."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url

MIGRATIONS = Path(__file__).parent / "migrations"
BUSY_TIMEOUT_MS = 10_000


class Store:
    """A database by its SQLAlchemy URL, as in `sqlite:///families.sqlite3`.

    SQLite runs with a write-ahead log, full synchronous writes and foreign keys on; a writer takes its lock
    at the start, so that two writers queue instead of failing half-way. With `survives_power_cuts` off, a
    commit does not wait for the disk: what a killed process had committed is still there, what was committed
    just before a power cut may not be. For invented families only.
    """

    def __init__(self, url: str | URL, *, survives_power_cuts: bool = True) -> None:
        self.url = make_url(url)
        self.engine = _engine(url, survives_power_cuts)

    @contextmanager
    def begin(self) -> Iterator[Connection]:
        """A writing transaction: all of it or nothing."""
        with self.engine.connect() as connection:
            if connection.dialect.name == "sqlite":
                connection = connection.execution_options(writes=True)
            with connection.begin():
                yield connection

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A reading transaction: one consistent view, nothing is written."""
        with self.engine.connect() as connection, connection.begin() as transaction:
            yield connection
            transaction.rollback()

    def migrate(self) -> None:
        """Bring the schema to what this version needs; nothing to do is fine."""
        with self.engine.connect() as connection:
            command.upgrade(migration_config(connection), "head")

    def close(self) -> None:
        self.engine.dispose()


def migration_config(connection: Connection) -> Config:
    """Alembic's configuration for an open connection."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    return config


def _engine(url: str | URL, survives_power_cuts: bool) -> Engine:
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":
        synchronous = "FULL" if survives_power_cuts else "NORMAL"
        event.listen(engine, "connect", lambda connection, _: _prepare_sqlite(connection, synchronous))
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, synchronous: str) -> None:
    # The driver would begin transactions in its own way, only before some statements; SQLAlchemy says BEGIN below.
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout = {BUSY_TIMEOUT_MS}",
        "journal_mode = WAL",
        f"synchronous = {synchronous}",
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
