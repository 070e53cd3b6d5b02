"""How fast the hooks answer when the phone network calls a thousand times in ten seconds.

    python bench/callbacks.py [--callbacks 1000] [--seconds 10] [--database sqlite] [--database postgresql]

bench/README.md says what is measured and what came out.
"""

from __future__ import annotations

import argparse
import http.client
import os
import random
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time as clock
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote, urlencode

from sqlalchemy import func, insert, select

sys.path.append(str(Path(__file__).parents[1] / "tests"))

from databases import fresh_database, postgres_server

from bracewatch.messages.signature import HEADER, sign
from bracewatch.services.enrolment import NewClinic, NewFamily, add_clinic, enrol
from bracewatch.services.texts import approve_shipped
from bracewatch.store import Store
from bracewatch.store import tables as t

BASE, KEY = "https://clinic.example", "an invented secret"
BODIES = ("22", "about 20 hours", "ishirini na mbili", "call me", "her heel is red", "xyzzy", "ok thank you", "STOP")
CALLERS = 64  # at once at most, so that a slow answer does not hold the next callback back


class Callback(NamedTuple):
    """What the network sends, and where to."""

    path: str
    form: dict[str, str]


class Answered(NamedTuple):
    """How many seconds after its moment a callback was answered, and how."""

    seconds: float
    status: int


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--callbacks", type=int, default=1000)
    parser.add_argument("--seconds", type=float, default=10)
    parser.add_argument("--database", action="append", choices=("sqlite", "postgresql"))
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print("| database | callbacks | in | p50 | p99 | longest | server's CPU a callback | load | refused | rows kept |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for database in options.database or ("sqlite", "postgresql"):
        with a_store(database) as store:
            callbacks = prepare(store, options.callbacks, random.Random(options.seed))
            with served(store) as (process, port):
                busy, began = cpu_seconds(process), clock.perf_counter()
                answers = call(port, callbacks, options.seconds)
                took, busy = clock.perf_counter() - began, cpu_seconds(process) - busy
            print(line(database, answers, took, busy, kept(store)), flush=True)


@contextmanager
def a_store(database: str) -> Iterator[Store]:
    """A store that loses nothing in a power cut, on a fresh database."""
    if database == "sqlite":
        with tempfile.TemporaryDirectory() as folder:
            yield from closing(Store(f"sqlite:///{folder}/families.sqlite3"))
        return
    with postgres_server(survives_power_cuts=True) as server, fresh_database(server, "callbacks") as url:
        yield from closing(Store(url))


def closing(store: Store) -> Iterator[Store]:
    yield store
    store.close()


def prepare(store: Store, callbacks: int, chance: random.Random) -> list[Callback]:
    """Families with one message sent each; half of the callbacks report on those, half are replies, mixed."""
    store.migrate()
    families = (callbacks + 1) // 2
    now = datetime.now(UTC)
    today = now.date()
    clinic_id = add_clinic(store, NewClinic("hill", "Hill", "KE", "Africa/Nairobi", "tue", "+441134960001"))
    approve_shipped(store, clinic_id, ["sw"], "invented", now)
    for number in range(families):
        enrol(store, a_family(clinic_id, number, today, now), now)
    with store.begin() as connection:
        connection.execute(insert(t.outbox), [a_message(child_id, now) for child_id in range(1, families + 1)])
        messages = connection.execute(select(t.outbox.c.sid, t.outbox.c.key, t.outbox.c.phone)).fetchall()
    made = []
    for number in range(callbacks):
        message = messages[number // 2]
        made.append(a_reply(number, message.phone, chance) if number % 2 else a_report(message.sid, message.key))
    chance.shuffle(made)
    return made


def a_family(clinic_id: int, number: int, today: date, now: datetime) -> NewFamily:
    return NewFamily(
        clinic_id=clinic_id,
        child_name=f"Child {number}",
        born=today - timedelta(days=90),
        brace_start=today - timedelta(days=30),
        caregiver_name=f"Caregiver {number}",
        phone=phone(number),
        language="sw",
        contact_time=time(18),
        agreed_at=now,
        agreed_text="invented",
        agreed_by="invented",
    )


def phone(number: int) -> str:
    """A number of the North American plan: area codes by turns, exchange 555 (fictional use), nothing is ever sent."""
    areas = (202, 212, 303, 312, 404, 415, 503, 512, 602, 617, 702, 713, 801, 802, 901, 907)
    return f"+1{areas[number // 100 % len(areas)]}55501{number % 100:02}"


def a_message(child_id: int, now: datetime) -> dict[str, object]:
    return {
        "key": f"welcome:{child_id}",
        "child_id": child_id,
        "caregiver_id": child_id,
        "kind": "welcome",
        "asks": "nothing",
        "language": "sw",
        "phone": phone(child_id - 1),
        "body": "Karibu.",
        "parts": 1,
        "due_at": now,
        "useful_until": now + timedelta(days=7),
        "state": "sent",
        "sid": sid("SM", child_id),
        "sent_at": now,
        "created_at": now,
    }


def sid(kind: str, number: int) -> str:
    return f"{kind}{number:032x}"


def a_report(message_sid: str, key: str) -> Callback:
    path = f"/hooks/twilio/status?reference={quote(key, safe='')}"
    return Callback(path, {"MessageSid": message_sid, "MessageStatus": "delivered", "AccountSid": sid("AC", 1)})


def a_reply(number: int, sender: str, chance: random.Random) -> Callback:
    form = {"MessageSid": sid("SM", 10**9 + number), "From": sender, "To": "+12025550199", "NumMedia": "0"}
    return Callback("/hooks/twilio/reply", form | {"Body": chance.choice(BODIES)})


@contextmanager
def served(store: Store) -> Iterator[tuple[int, int]]:
    """The process id and the port of `bracewatch hooks`."""
    settings = {
        "BRACEWATCH_DATABASE": store.url.render_as_string(hide_password=False),
        "BRACEWATCH_PUBLIC_URL": BASE,
        "BRACEWATCH_TWILIO_TOKEN": KEY,
    }
    command = [sys.executable, "-c", "from bracewatch.cli import main; main()", "hooks", "--port", "0"]
    quiet = {"stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL}  # the server tells of every queue
    with subprocess.Popen(command, text=True, env=os.environ | settings, **quiet) as process:
        assert process.stdout is not None
        yield (
            process.pid,
            int(next(filter(None, (re.search(r"127\.0\.0\.1:(\d+)", said) for said in process.stdout)))[1]),
        )
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=30)


def call(port: int, callbacks: list[Callback], seconds: float) -> list[Answered]:
    """Send each at its own moment, evenly over the seconds, whatever became of those before it."""
    begin = clock.perf_counter() + 0.2
    gap = seconds / len(callbacks)
    with ThreadPoolExecutor(CALLERS) as pool:
        return list(
            pool.map(lambda pair: post(port, pair[1], begin + pair[0] * gap), enumerate(callbacks), chunksize=1)
        )


def post(port: int, callback: Callback, moment: float) -> Answered:
    """Seconds from `moment`, when it was to be sent, to the end of its answer: waiting for a free caller counts."""
    headers = {
        HEADER: sign(KEY, BASE + callback.path, callback.form.items()),
        "Content-Type": "application/x-www-form-urlencoded",
    }
    clock.sleep(max(0.0, moment - clock.perf_counter()))
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("POST", callback.path, urlencode(callback.form), headers)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return Answered(clock.perf_counter() - moment, answer.status)


def cpu_seconds(process: int) -> float:
    """What a process has used so far, of all cores, on Linux."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def kept(store: Store) -> int:
    with store.read() as connection:
        tables = (t.inbound, t.delivery_report)
        return sum(connection.execute(select(func.count()).select_from(table)).scalar_one() for table in tables)


def line(database: str, answers: list[Answered], took: float, busy: float, rows: int) -> str:
    times = sorted(1000 * answer.seconds for answer in answers)
    p99 = statistics.quantiles(times, n=100)[98]
    refused = sum(answer.status != 200 for answer in answers)
    each, load = 1000 * busy / len(answers), os.getloadavg()[0]
    return (
        f"| {database} | {len(answers):,} | {took:.1f} s | {statistics.median(times):.0f} ms | {p99:.0f} ms "
        f"| {times[-1]:.0f} ms | {each:.1f} ms | {load:.1f} | {refused} | {rows:,} |"
    )


if __name__ == "__main__":
    main()
