"""The small practice clinic of `practice_world`, played once and copied for each test; one browser for all."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from in_browser import launched, served
from playwright.sync_api import Browser, Playwright
from practice_world import World, open_world, play

from bracewatch.store import Store


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file as it is on the morning of NOW, for tests to copy."""
    path = tmp_path_factory.mktemp("played") / "clinic.sqlite3"
    store = Store(f"sqlite:///{path}")
    store.migrate()
    play(store)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return path


@pytest.fixture
def world(played: Path, tmp_path: Path) -> Iterator[World]:
    copy = shutil.copy(played, tmp_path / "clinic.sqlite3")
    opened = open_world(Path(copy))
    yield opened
    opened.store.close()


@pytest.fixture
def empty_world(tmp_path: Path) -> Iterator[World]:
    """A clinic without any family."""
    store = Store(f"sqlite:///{tmp_path / 'empty.sqlite3'}")
    store.migrate()
    store.close()
    opened = open_world(tmp_path / "empty.sqlite3")
    yield opened
    opened.store.close()


@pytest.fixture(scope="session")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    """The browser, once for all tests."""
    browser = launched(playwright)
    yield browser
    browser.close()


@pytest.fixture
def address(played: Path, tmp_path: Path) -> Iterator[str]:
    """A practice clinic for one test, which may change it."""
    with served(open_world(Path(shutil.copy(played, tmp_path / "clinic.sqlite3")))) as at:
        yield at


@pytest.fixture(scope="session")
def unchanged(played: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A practice clinic for the tests that only look."""
    copy = shutil.copy(played, tmp_path_factory.mktemp("looked at") / "clinic.sqlite3")
    with served(open_world(Path(copy))) as at:
        yield at
