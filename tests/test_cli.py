"""The commands, as somebody types them."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bracewatch.cli import main

BRACEWATCH = str(Path(sys.executable).parent / "bracewatch")
AS_OF = "2026-11-25T09:00Z"


def run(*words: str) -> Result:
    return CliRunner().invoke(main, words)


def plan(*words: str) -> Result:
    return run("plan", "--born", "2026-01-10", "--brace-start", "2026-03-01", *words)


class TestPlan:
    def test_prints_phases_visits_end_sources_and_cautions(self) -> None:
        done = plan("--clinic-days", "tue,fri")
        assert done.exit_code == 0
        assert "2026-03-01 to 2026-06-01        23 h  Full time  until the clinic says so" in done.output
        assert "Tue 2026-03-17  First look at fit and skin (due 2026-03-15" in done.output
        assert "Bracing ends 2030-01-10" in done.output
        assert "[READ] Desai L" in done.output
        assert "Never stop the brace without asking" in done.output

    def test_json_has_the_promised_keys_and_iso_dates(self) -> None:
        answer = json.loads(plan("--clinic-days", "tue,fri", "--json").output)
        assert set(answer) == {"protocol", "phases", "visits", "ends_on"}
        assert answer["protocol"] == {"id": "nights-to-four", "version": 1}
        assert answer["phases"][0] == {
            "key": "full-time",
            "start": "2026-03-01",
            "end": "2026-06-01",
            "hours_low": 23,
            "hours_high": 23,
            "gate": "step-down",
        }
        assert answer["visits"][0] == {
            "key": "first-fit",
            "due": "2026-03-15",
            "opens": "2026-03-11",
            "closes": "2026-03-22",
            "on": "2026-03-17",
        }
        assert answer["ends_on"] == "2030-01-10"

    def test_without_clinic_days_every_day_counts_and_says_so(self) -> None:
        assert "no clinic days given: every day counts as open" in plan().output
        assert all(visit["on"] == visit["due"] for visit in json.loads(plan("--json").output)["visits"])

    def test_until_leaves_out_what_lies_after_it(self) -> None:
        answer = json.loads(plan("--until", "2026-05-01", "--json").output)
        assert [phase["key"] for phase in answer["phases"]] == ["full-time"]
        assert [visit["key"] for visit in answer["visits"]] == ["first-fit"]
        assert answer["ends_on"] == "2030-01-10"

    def test_a_protocol_may_be_a_file_of_ones_own(self, tmp_path: Path) -> None:
        text = (resources.files("bracewatch.schedule") / "protocols" / "nights-to-four.toml").read_text("utf-8")
        file = tmp_path / "ours.toml"
        file.write_text(text.replace('id = "nights-to-four"', 'id = "ours"').replace("[23, 23]", "[22, 23]"), "utf-8")
        answer = json.loads(plan("--protocol", str(file), "--json").output)
        assert answer["protocol"]["id"] == "ours"
        assert answer["phases"][0]["hours_low"] == 22

    def test_everything_that_is_wrong_is_named_in_one_answer_with_exit_code_2(self) -> None:
        done = run(
            *("plan", "--born", "2026-02-30", "--brace-start", "1/3/2026", "--protocol", "nope"),
            *("--clinic-days", "tue,blueday", "--until", "later"),
        )
        assert done.exit_code == 2
        for said in ("'2026-02-30'", "'1/3/2026'", "no protocol 'nope'", "'blueday'", "'later'"):
            assert said in done.output
        assert "Traceback" not in done.output

    @pytest.mark.parametrize(
        ("born", "start", "said"),
        [
            ("2026-03-01", "2026-02-01", "before birth"),
            ("2026-03-01", "2036-02-01", "more than a year ahead"),
            ("2020-01-01", "2026-02-01", "Choose another protocol"),
            ("20260301", "2026-04-01", "write it as in 2026-03-14"),
            ("2026-W10-7", "2026-04-01", "write it as in 2026-03-14"),
        ],
    )
    def test_impossible_dates_are_refused(self, born: str, start: str, said: str) -> None:
        done = run("plan", "--born", born, "--brace-start", start)
        assert done.exit_code == 2
        assert said in done.output

    def test_a_file_with_five_faults_has_all_five_named(self, tmp_path: Path) -> None:
        text = (resources.files("bracewatch.schedule") / "protocols" / "nights-to-four.toml").read_text("utf-8")
        for right, wrong in [
            ("version = 1", "version = 0"),
            ("[23, 23]", "[23, 25]"),
            ('lasts = "P3M"', 'lasts = "soon"'),
            ('gate = "step-down"', 'gate = "nobody"'),
            ("low_wear_share = 0.7", "low_wear_share = 7"),
        ]:
            text = text.replace(right, wrong, 1)
        file = tmp_path / "ours.toml"
        file.write_text(text, "utf-8")
        done = plan("--protocol", str(file))
        assert done.exit_code == 2
        assert "5 faults" in done.output
        assert all(place in done.output for place in ("version", "hours.1", "lasts", "gate", "low_wear_share"))

    def test_a_file_that_is_not_there_is_named(self, tmp_path: Path) -> None:
        done = plan("--protocol", str(tmp_path / "none.toml"))
        assert done.exit_code == 2
        assert "there is no file" in done.output


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


class TestDemo:
    def test_without_serving_it_prints_what_came_of_the_play_and_ends(self) -> None:
        done = run("demo", "--no-serve", "--as-of", AS_OF)
        assert done.exit_code == 0
        assert re.search(r"Practice clinic on 25 Nov 2026, 09:00 UTC: \d+ families, 3 clinics", done.output)
        for title in ("Messages sent: ", "Replies: ", "Flags standing: ", "First calls"):
            assert title in done.output
        calls = done.output[done.output.index("First calls") :]
        assert [int(number) for number in re.findall(r"^ +(\d+)\. ", calls, re.MULTILINE)] == list(range(1, 11))

    def test_an_instant_without_a_zone_is_refused(self) -> None:
        done = run("demo", "--no-serve", "--as-of", "2026-11-25T09:00")
        assert done.exit_code == 2
        assert "in which zone" in done.output

    def test_a_database_of_something_else_is_refused(self, tmp_path: Path) -> None:
        file = tmp_path / "families.sqlite3"
        file.write_bytes(b"not a practice clinic at all")
        done = run("demo", "--no-serve", "--file", str(file))
        assert done.exit_code == 2
        assert "is not a practice clinic" in done.output
        assert file.read_bytes() == b"not a practice clinic at all"

    def test_it_serves_the_practice_clinic_and_closes_cleanly_on_sigterm(
        self, served: tuple[subprocess.Popen[str], str]
    ) -> None:
        process, address = served
        with urllib.request.urlopen(f"{address}/calls", timeout=10) as answer:  # noqa: S310 - our own address
            page = answer.read().decode()
        assert "Practice clinic: invented families" in page
        os.kill(process.pid, signal.SIGTERM)
        assert process.wait(timeout=20) == 0
        assert process.stdout is not None
        assert "goes on where it was" in process.stdout.read()

    def test_a_port_in_use_is_refused_with_what_to_do(self, played_file: Path) -> None:
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
