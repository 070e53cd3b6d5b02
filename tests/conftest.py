"""What all tests share: helpers beside them can be imported, both databases, the same hypothesis everywhere."""

import itertools
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

HERE = Path(__file__).parent
sys.path += [str(HERE), str(HERE / "review"), str(HERE / "services")]

from databases import fresh_database, postgres_server  # noqa: E402 - found through the path above

from bracewatch.store import Store  # noqa: E402

settings.register_profile("house", deadline=None, derandomize=True)  # no timings in tests, no flickering either
settings.load_profile("house")

_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    with postgres_server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A store without a schema, on each database."""
    if request.param == "sqlite":
        store = Store(f"sqlite:///{tmp_path / 'families.sqlite3'}")
        yield store
        store.close()
        return
    with fresh_database(request.getfixturevalue("postgres"), f"test_{next(_numbers)}") as url:
        store = Store(url)
        yield store
        store.close()


@pytest.fixture
def store(empty_store: Store) -> Store:
    """A store with its schema, on each database."""
    empty_store.migrate()
    return empty_store
