"""`hooks`, as somebody types it: a real server on a real database, spoken to over HTTP, stopped by SIGTERM."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from pathlib import Path
from urllib.parse import urlencode

import pytest
from opened_clinics import open_clinic
from sqlalchemy import select
from twilio.request_validator import RequestValidator

from bracewatch.services import enrolment
from bracewatch.store import Store
from bracewatch.store import tables as t

BRACEWATCH = str(Path(sys.executable).parent / "bracewatch")
BASE = "https://clinic.example"
KEY = "an invented secret"
MOTHER = "+442079460001"
FORM = {"MessageSid": "SM" + "0a" * 16, "From": MOTHER, "Body": "her heel is red"}


def environment(**changes: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("BRACEWATCH_")}
    return kept | changes


@pytest.fixture
def served(store: Store) -> Iterator[tuple[subprocess.Popen[str], str]]:
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", "Africa/Nairobi", "tue", "+441134960001")
    family = enrolment.NewFamily(
        clinic_id=open_clinic(store, clinic),
        child_name="Tumaini",
        born=date(2026, 7, 1),
        brace_start=date(2026, 9, 1),
        caregiver_name="Zawadi (mother)",
        phone=MOTHER,
        language="en",
        contact_time=time(18),
    )
    enrolment.enrol(store, family, datetime(2026, 9, 1, 9, tzinfo=UTC))
    settings = environment(
        BRACEWATCH_DATABASE=store.url.render_as_string(hide_password=False),
        BRACEWATCH_PUBLIC_URL=BASE,
        BRACEWATCH_TWILIO_TOKEN=KEY,
    )
    command = [BRACEWATCH, "hooks", "--port", "0"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    with subprocess.Popen(command, text=True, env=settings, **pipes) as process:  # type: ignore[call-overload]
        found = next(filter(None, (re.search(r"http://127\.0\.0\.1:\d+", line) for line in process.stdout)))
        yield process, found[0]
        process.kill()


def post(address: str, signature: str) -> tuple[int, bytes]:
    request = urllib.request.Request(  # noqa: S310 - our own address
        f"{address}/hooks/twilio/reply", urlencode(FORM).encode(), {"X-Twilio-Signature": signature}
    )
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:  # noqa: S310 - our own address
            return answer.status, answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.read()


def test_a_signed_reply_is_taken_in_a_forged_one_is_not_and_sigterm_closes_it(
    served: tuple[subprocess.Popen[str], str], store: Store
) -> None:
    process, address = served
    assert post(address, "RSOYDt4T1cUTdK1PDd93/VVr8B8=") == (403, b"")
    signature = RequestValidator(KEY).compute_signature(f"{BASE}/hooks/twilio/reply", FORM)
    assert post(address, signature) == (200, b"<Response/>")
    with store.read() as connection:
        assert list(connection.execute(select(t.inbound.c.body)).scalars()) == ["her heel is red"]
    os.kill(process.pid, signal.SIGTERM)
    assert process.wait(timeout=20) == 0
    assert process.stdout is not None
    assert "Closed." in process.stdout.read()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"BRACEWATCH_PUBLIC_URL": ""}, "BRACEWATCH_PUBLIC_URL"),
        ({"BRACEWATCH_PUBLIC_URL": "http://clinic.example"}, "BRACEWATCH_PUBLIC_URL: the public address must be"),
        ({"BRACEWATCH_TWILIO_TOKEN": " "}, "BRACEWATCH_TWILIO_TOKEN"),
        ({"BRACEWATCH_DATABASE": ""}, "BRACEWATCH_DATABASE"),
        ({"BRACEWATCH_DATABASE": "swordfish"}, "BRACEWATCH_DATABASE cannot be opened"),
        ({"BRACEWATCH_DATABASE": "sqlite:////no/such/folder/swordfish"}, "BRACEWATCH_DATABASE cannot be opened"),
        ({"BRACEWATCH_DATABASE": "nosuch://swordfish"}, "BRACEWATCH_DATABASE cannot be opened"),
    ],
)
def test_a_setting_that_cannot_be_is_named_and_its_value_is_not(
    tmp_path: Path, changes: dict[str, str], said: str
) -> None:
    settings = {
        "BRACEWATCH_DATABASE": f"sqlite:///{tmp_path / 'families.sqlite3'}",
        "BRACEWATCH_PUBLIC_URL": BASE,
        "BRACEWATCH_TWILIO_TOKEN": KEY,
    }
    done = subprocess.run(
        [BRACEWATCH, "hooks", "--port", "0"],
        env=environment(**(settings | changes)),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 2
    assert said in done.stderr
    for secret in (KEY, "swordfish", "Traceback"):
        assert secret not in done.stderr + done.stdout
