"""The working process, for real: its own process, a real database file, a provider on this machine's loopback."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert, select

sys.path.append(str(Path(__file__).parent / "messages"))

from provider import OUR_NUMBER, Fault, Provider

from bracewatch.services import enrolment
from bracewatch.store import Store
from bracewatch.store import tables as t

COMMAND = [str(Path(sys.executable).parent / "bracewatch"), "work"]


@pytest.fixture
def provider() -> Iterator[Provider]:
    running = Provider().start()
    yield running
    running.stop()


@pytest.fixture
def environment(provider: Provider, tmp_path: Path) -> dict[str, str]:
    """Settings for a database with three messages that are due, by day and by night."""
    url = f"sqlite:///{tmp_path / 'families.sqlite3'}"
    store = Store(url)
    store.migrate()
    now = datetime.now(UTC)
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", "Africa/Nairobi", "tue", "+441134960001")
    family = enrolment.NewFamily(
        clinic_id=enrolment.add_clinic(store, clinic),
        child_name="Tumaini",
        born=now.date() - timedelta(days=60),
        brace_start=date.fromordinal(now.date().toordinal() - 1),
        caregiver_name="Mother",
        phone="+442079460001",
        language="en",
        contact_time=time(18),
    )
    child_id = enrolment.enrol(store, family, now)
    with store.begin() as connection:
        caregiver_id = connection.execute(select(t.caregiver.c.id)).scalar_one()
        for number in range(3):
            connection.execute(
                insert(t.outbox).values(
                    key=f"answer:{number}",
                    child_id=child_id,
                    caregiver_id=caregiver_id,
                    kind="trouble_heard",
                    asks="nothing",
                    language="en",
                    phone="+442079460001",
                    body=f"text {number}",
                    parts=1,
                    due_at=now,
                    useful_until=now + timedelta(hours=12),
                    state="queued",
                    created_at=now,
                )
            )
    store.close()
    return {
        **os.environ,
        "BRACEWATCH_DATABASE": url,
        "BRACEWATCH_TWILIO_ACCOUNT": provider.account_sid,
        "BRACEWATCH_TWILIO_TOKEN": provider.auth_token,
        "BRACEWATCH_TWILIO_NUMBER": OUR_NUMBER,
        "BRACEWATCH_TWILIO_API": provider.base,
    }


def bodies(provider: Provider) -> list[object]:
    return sorted(str(message["body"]) for message in provider.messages)


def test_one_look_sends_what_is_due_and_the_next_sends_nothing(provider: Provider, environment: dict[str, str]) -> None:
    lines = [
        subprocess.run([*COMMAND, "--once"], env=environment, check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    ]
    assert "sent 3" in lines[0]
    assert "sent 0" in lines[1]
    assert bodies(provider) == ["text 0", "text 1", "text 2"]
    assert "+442079460001" not in "".join(lines)


def test_two_processes_started_by_mistake_send_each_message_once(
    provider: Provider, environment: dict[str, str]
) -> None:
    both = [subprocess.Popen([*COMMAND, "--once"], env=environment, stdout=subprocess.PIPE) for _ in range(2)]
    assert [process.wait(timeout=60) for process in both] == [0, 0]
    for process in both:
        process.communicate()
    assert bodies(provider) == ["text 0", "text 1", "text 2"]


def test_a_process_that_is_told_to_end_finishes_the_message_in_flight_and_ends_well(
    provider: Provider, environment: dict[str, str]
) -> None:
    provider.fail_next(Fault(accepts=True, stalls=3.0, status=503))
    process = subprocess.Popen([*COMMAND, "--every", "1"], env=environment, stdout=subprocess.PIPE, text=True)
    while provider.creates == 0:
        assert process.poll() is None
    process.send_signal(signal.SIGTERM)
    told, _ = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "nothing is in flight" in told
    assert provider.creates == 1
    store = Store(environment["BRACEWATCH_DATABASE"])
    with store.read() as connection:
        states = sorted(connection.execute(select(t.outbox.c.state)).scalars())
    store.close()
    assert states == ["in_doubt", "queued", "queued"]


def test_a_missing_setting_is_named_and_nothing_is_sent(provider: Provider, environment: dict[str, str]) -> None:
    del environment["BRACEWATCH_TWILIO_TOKEN"]
    ended = subprocess.run([*COMMAND, "--once"], env=environment, check=False, capture_output=True, text=True)
    assert ended.returncode == 2
    assert "BRACEWATCH_TWILIO_TOKEN is missing" in ended.stderr
    assert provider.creates == 0
