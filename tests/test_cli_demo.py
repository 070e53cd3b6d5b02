"""The command `demo`, as somebody types it."""

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bracewatch.cli import main

BRACEWATCH = str(Path(sys.executable).parent / "bracewatch")
AS_OF = "2026-11-25T09:00Z"


def run(*words: str) -> Result:
    return CliRunner().invoke(main, words)


@pytest.fixture(scope="module")
def played_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("demo") / "practice.sqlite3"
    assert run("demo", "--no-serve", "--file", str(file), "--as-of", AS_OF).exit_code == 0
    return file


@pytest.fixture
def served(played_file: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    command = [BRACEWATCH, "demo", "--port", "0", "--file", str(played_file), "--as-of", AS_OF]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        assert process.stdout is not None
        found = next(filter(None, (re.search(r"http://127\.0\.0\.1:\d+", line) for line in process.stdout)))
        yield process, found[0]
        process.kill()


def test_without_serving_it_prints_what_came_of_the_play_and_ends() -> None:
    done = run("demo", "--no-serve", "--as-of", AS_OF)
    assert done.exit_code == 0
    assert re.search(r"Practice clinic on 25 Nov 2026, 09:00 UTC: \d+ families, 3 clinics", done.output)
    for title in ("Messages sent: ", "Replies: ", "Flags standing: ", "First calls"):
        assert title in done.output
    calls = done.output[done.output.index("First calls") :]
    assert [int(number) for number in re.findall(r"^ +(\d+)\. ", calls, re.MULTILINE)] == list(range(1, 11))


def test_an_instant_without_a_zone_is_refused() -> None:
    done = run("demo", "--no-serve", "--as-of", "2026-11-25T09:00")
    assert done.exit_code == 2
    assert "in which zone" in done.output


def test_a_database_of_something_else_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "families.sqlite3"
    file.write_bytes(b"not a practice clinic at all")
    done = run("demo", "--no-serve", "--file", str(file))
    assert done.exit_code == 2
    assert "is not a practice clinic" in done.output
    assert file.read_bytes() == b"not a practice clinic at all"


def test_it_serves_the_practice_clinic_and_closes_cleanly_on_sigterm(served: tuple[subprocess.Popen[str], str]) -> None:
    process, address = served
    with urllib.request.urlopen(f"{address}/calls", timeout=10) as answer:  # noqa: S310 - our own address
        page = answer.read().decode()
    assert "Practice clinic: invented families" in page
    os.kill(process.pid, signal.SIGTERM)
    assert process.wait(timeout=20) == 0
    assert process.stdout is not None
    assert "goes on where it was" in process.stdout.read()


def test_a_port_in_use_is_refused_with_what_to_do(played_file: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [BRACEWATCH, "demo", "--port", str(port), "--file", str(played_file), "--as-of", AS_OF],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.returncode == 2
    assert f"port {port} cannot be used" in done.stderr
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr
