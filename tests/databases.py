"""Real databases for the tests: a SQLite file, and a PostgreSQL server that lives as long as the test run."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import create_engine, text


def server_program(name: str) -> str:
    """The path of a PostgreSQL server program. Raises FileNotFoundError that says what to install."""
    found = shutil.which(name) or next(map(str, sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))), None)
    if found is None:
        raise FileNotFoundError(f"{name} is missing: apt-get install postgresql")
    return str(Path(found).resolve())


@contextmanager
def postgres_server(*, survives_power_cuts: bool = False) -> Iterator[str]:
    """The URL of a server that listens on a socket in a temporary folder only; TEST_PG_URL names another one."""
    if "TEST_PG_URL" in os.environ:
        yield os.environ["TEST_PG_URL"]
        return
    as_postgres = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    with tempfile.TemporaryDirectory(prefix="bracewatch-pg-") as folder:
        data = Path(folder) / "data"
        if as_postgres:
            shutil.chown(folder, "postgres")

        def run(*command: str) -> None:
            subprocess.run([*as_postgres, *command], check=True, capture_output=True, cwd=folder)

        run(server_program("initdb"), "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
        fsync = "on" if survives_power_cuts else "off"
        options = f"-k {folder} -c listen_addresses='' -c fsync={fsync}"
        run(server_program("pg_ctl"), "-D", str(data), "-w", "-l", str(data / "log"), "-o", options, "start")
        try:
            yield f"postgresql+psycopg://postgres@/postgres?host={folder}"
        finally:
            run(server_program("pg_ctl"), "-D", str(data), "-m", "immediate", "stop")


@contextmanager
def fresh_database(server_url: str, name: str) -> Iterator[str]:
    """The URL of an empty database on that server, dropped afterwards."""
    admin = create_engine(server_url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}"'))
    try:
        yield admin.url.set(database=name).render_as_string(hide_password=False)
    finally:
        with admin.connect() as connection:
            connection.execute(text(f'DROP DATABASE "{name}" WITH (FORCE)'))
        admin.dispose()
