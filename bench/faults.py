"""Kills senders at random while the network fails at random, and counts what arrived.

Families get the same text on eight evenings, the hard case: only its moment tells one message from the next. The
provider is a process on this machine's loopback. Senders are processes forked from this one; every 80 to 300 ms one
is killed (SIGKILL), or in three of ten cases suspended for longer than its lease and woken (SIGSTOP, SIGCONT). In the
end every message must be at the provider exactly once. `--wrong` runs a sender that is wrong on purpose: it must be
caught, or the driver proves nothing.
"""

from __future__ import annotations

import argparse
import json
import mmap
import os
import random
import signal
import struct
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from datetime import time as wall_time
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

from sqlalchemy import func, insert, select, update
from sqlalchemy.exc import DBAPIError

ROOT = Path(__file__).parent.parent
sys.path += [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "messages")]

from databases import fresh_database, postgres_server  # noqa: E402 - found through the path above
from provider import (  # noqa: E402
    BROKEN_JSON,
    DROP_AFTER_ACCEPTING,
    DROP_BEFORE_READING,
    OUR_NUMBER,
    SERVER_ERROR,
    TOO_MANY_REQUESTS,
    UNAVAILABLE_AFTER_ACCEPTING,
    Fault,
    Provider,
)

from bracewatch.messages.adapter import NotSent, Outcome, Outgoing  # noqa: E402
from bracewatch.messages.twilio_sms import TwilioSettings, TwilioSms  # noqa: E402
from bracewatch.services import enrolment, texts  # noqa: E402
from bracewatch.services.reconciling import reconcile  # noqa: E402
from bracewatch.services.sending import send_due  # noqa: E402
from bracewatch.services.timing import Timing  # noqa: E402
from bracewatch.store import Store  # noqa: E402
from bracewatch.store import tables as t  # noqa: E402

FAMILIES, EVENINGS = 40, 8
EVENING_SECONDS, CALM_SECONDS = 3.0, 90.0
FIRST_EVENING = datetime(2026, 9, 1, 15, tzinfo=UTC)  # six in the evening in Nairobi
BODY = "How many hours did your child wear the brace yesterday? Answer with a number."
TIMING = Timing(
    timeout=timedelta(seconds=0.5),
    lease=timedelta(seconds=1.6),
    gap=timedelta(seconds=2),
    first_wait=timedelta(seconds=0.2),
    longest_wait=timedelta(seconds=1),
    clock_slack=timedelta(seconds=5),
)
LATE = Fault(accepts_late=True, stalls=0.7)  # kept after the sender gave up, but before it is looked for
STALL = Fault(accepts=True, stalls=0.9)
FAULTS = (
    *(DROP_AFTER_ACCEPTING, DROP_BEFORE_READING, TOO_MANY_REQUESTS, SERVER_ERROR),
    *(UNAVAILABLE_AFTER_ACCEPTING, BROKEN_JSON, STALL, LATE),
)
FAULTY, LIST_FAULTY = 0.25, 0.2  # shares of requests that meet a fault


class Clock:
    """A clock that all processes share through a file: real seconds, and a jump to the next evening when told so."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(struct.pack("dd", time.monotonic(), 0.0))
        with path.open("r+b") as file:
            self.shared = mmap.mmap(file.fileno(), 16)

    def __call__(self) -> datetime:
        began, days = struct.unpack("dd", self.shared[:])
        return FIRST_EVENING + timedelta(days=days, seconds=time.monotonic() - began)

    def next_evening(self) -> None:
        _, days = struct.unpack("dd", self.shared[:])
        self.shared[8:] = struct.pack("d", days + 1)


class FaultyProvider(Provider):
    """The loopback provider, failing at random, slow, and with a note of which reference each message had."""

    def begin(self, seed: int) -> FaultyProvider:
        self.random, self.calm, self.references = random.Random(seed), False, list[str]()
        return self

    def next_fault(self, method: str) -> Fault | None:
        time.sleep(0 if self.calm else self.random.uniform(0.005, 0.06))
        with self.lock:
            if self.calm or self.random.random() > (FAULTY if method == "POST" else LIST_FAULTY):
                return None
            return self.random.choice(FAULTS) if method == "POST" else SERVER_ERROR

    def accept(self, form: dict[str, str]) -> dict[str, object]:
        message = super().accept(form)
        with self.lock:
            self.references.append(dict(parse_qsl(urlsplit(form["StatusCallback"]).query))["reference"])
        return message


def provide(seed: int, clock_file: Path) -> None:
    """The provider's process: says where it is, and does what it is told, a line each."""
    provider = FaultyProvider(clock=Clock(clock_file)).begin(seed)
    provider.start()
    print(
        json.dumps({"base": provider.base, "account": provider.account_sid, "token": provider.auth_token}), flush=True
    )
    for line in sys.stdin:
        if line.strip() == "calm":
            provider.calm = True
        elif line.strip() == "tell":
            print(json.dumps(provider.references), flush=True)
    provider.stop()


@contextmanager
def provider_process(
    seed: int, clock_file: Path
) -> Iterator[tuple[TwilioSettings, Callable[[str], None], Callable[[], list[str]]]]:
    """Settings for the provider, a way to tell it something, and to ask for the references of what it accepted."""
    command = [sys.executable, __file__, "--provide", str(seed), str(clock_file)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None

        def tell(line: str) -> None:
            process.stdin.write(line + "\n")
            process.stdin.flush()

        def references() -> list[str]:
            tell("tell")
            return list(json.loads(process.stdout.readline()))

        try:
            where = json.loads(process.stdout.readline())
            yield (
                TwilioSettings(
                    account_sid=where["account"],
                    auth_token=where["token"],
                    from_number=OUR_NUMBER,
                    status_callback_url="https://clinic.example/report",
                    api_base=where["base"],
                    timeout=TIMING.timeout,
                ),
                tell,
                references,
            )
        finally:
            process.kill()


# The senders: the real one, and two that are wrong on purpose.


def right(store: Store, channel: TwilioSms, clock: Clock, owner: str) -> None:
    reconcile(store, channel, clock, timing=TIMING)
    send_due(store, channel, clock, owner, timing=TIMING)


def mark_then_send(store: Store, channel: TwilioSms, clock: Clock, _owner: str) -> None:
    """Marks a message as sent, then sends it; a failure that may pass puts it back."""
    while True:
        with store.begin() as connection:
            row = _next(connection, clock())
            if row is None:
                return
            connection.execute(update(t.outbox).where(t.outbox.c.id == row.id).values(state="sent"))
        failure = _post(channel, row)
        if failure is not None and failure.outcome is Outcome.TRANSIENT:
            with store.begin() as connection:
                connection.execute(update(t.outbox).where(t.outbox.c.id == row.id).values(state="queued"))


def send_then_mark(store: Store, channel: TwilioSms, clock: Clock, _owner: str) -> None:
    """Sends a message under a lock, then marks it; any failure leaves it to be sent again."""
    while True:
        with store.begin() as connection:
            row = _next(connection, clock())
            if row is None:
                return
            if _post(channel, row) is None:
                connection.execute(update(t.outbox).where(t.outbox.c.id == row.id).values(state="sent"))


def _next(connection: object, now: datetime) -> object:
    o = t.outbox.c
    query = select(t.outbox).where(o.state == "queued", o.due_at <= now).order_by(func.random()).limit(1)
    return connection.execute(query.with_for_update(skip_locked=True)).one_or_none()  # type: ignore[attr-defined]


def _post(channel: TwilioSms, row: object) -> NotSent | None:
    try:
        channel.send(Outgoing(row.phone, row.body, row.key, timedelta(hours=1)))  # type: ignore[attr-defined]
    except NotSent as failure:
        return failure
    return None


SENDERS = {"right": right, "mark-then-send": mark_then_send, "send-then-mark": send_then_mark}


def send_for_ever(url: str, settings: TwilioSettings, clock: Clock, sender: str) -> None:
    store = Store(url)
    channel = TwilioSms(settings, clock)
    while True:
        try:
            SENDERS[sender](store, channel, clock, f"sender-{os.getpid()}")
        except DBAPIError as error:  # a suspended process holds a lock: the next tick goes on
            if "-v" in sys.argv:
                print(type(error.orig).__name__, error.orig, file=sys.stderr)
        time.sleep(0.02)


# The driver.


@dataclass
class Herd:
    """The sender processes. Only processes it started itself are ever sent a signal."""

    size: int
    start_one: Callable[[], None]
    random: random.Random
    awake: list[int] = field(default_factory=list)
    asleep: dict[int, float] = field(default_factory=dict)  # until when, monotonic
    kills: int = 0
    stops: int = 0

    def fill(self) -> None:
        while len(self.awake) < self.size:
            pid = os.fork()
            if pid == 0:
                try:
                    self.start_one()
                finally:
                    os._exit(1)
            self.awake.append(pid)

    def strike(self) -> None:
        """Kill or suspend one at random, wake those whose time has come."""
        self.wake()
        pid = self.awake.pop(self.random.randrange(len(self.awake)))
        if self.random.random() < 0.3:
            os.kill(pid, signal.SIGSTOP)
            past_the_lease = TIMING.lease.total_seconds() + self.random.uniform(0.2, 1.5)
            self.asleep[pid] = time.monotonic() + past_the_lease
            self.stops += 1
        else:
            self._kill(pid)
            self.kills += 1
        self.fill()

    def wake(self, *, all_of_them: bool = False) -> None:
        for pid, until in list(self.asleep.items()):
            if all_of_them or time.monotonic() >= until:
                del self.asleep[pid]
                os.kill(pid, signal.SIGCONT)
                self.awake.append(pid)

    def end(self) -> None:
        for pid in (*self.awake, *self.asleep):
            self._kill(pid)

    @staticmethod
    def _kill(pid: int) -> None:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)


@dataclass
class Count:
    database: str
    seed: int
    messages: int
    kills: int
    stops: int
    doubled: int
    lost: int
    settled: int
    unknown: int
    open: int


def drive(database: str, url: str, seed: int, sender: str, clock_file: Path) -> Count:
    chance = random.Random(seed)
    store = Store(url)
    store.migrate()
    caregivers = _families(store)
    store.close()  # no connection may cross a fork
    clock = Clock(clock_file)
    with provider_process(seed, clock_file) as (settings, tell, references):
        herd = Herd(3 if database == "postgresql" else 1, lambda: send_for_ever(url, settings, clock, sender), chance)
        try:
            for evening in range(EVENINGS):
                if evening:
                    clock.next_evening()
                # Whoever is suspended with SQLite's one write lock holds us up, and nobody else would wake it.
                herd.wake(all_of_them=database == "sqlite")
                _queue(store, caregivers, evening, clock())
                store.close()
                herd.fill()
                ends = time.monotonic() + EVENING_SECONDS
                while time.monotonic() < ends:
                    time.sleep(chance.uniform(0.08, 0.3))
                    herd.strike()
            tell("calm")
            herd.wake(all_of_them=True)
            ends = time.monotonic() + CALM_SECONDS
            while time.monotonic() < ends and _open(store):
                time.sleep(0.2)
        finally:
            herd.end()
        arrived = Counter(references())
    states = _states(store)
    keys = [f"evening-{evening}-{person}" for evening in range(EVENINGS) for person in range(len(caregivers))]
    with store.read() as connection:
        settled = connection.execute(
            select(func.count()).where(t.outbox.c.doubted_at.is_not(None), t.outbox.c.state == "sent")
        ).scalar_one()
    store.close()
    # Counted by family: with equal texts only their number can be told from outside.
    got = Counter(key.rsplit("-", 1)[1] for key in arrived.elements())
    return Count(
        database=database,
        seed=seed,
        messages=len(keys),
        kills=herd.kills,
        stops=herd.stops,
        doubled=sum(max(0, got[str(person)] - EVENINGS) for person in range(len(caregivers))),
        lost=sum(max(0, EVENINGS - got[str(person)]) for person in range(len(caregivers))),
        settled=settled,
        unknown=states["unknown"],
        open=sum(states.values()) - states["sent"] - states["unknown"],
    )


def _families(store: Store) -> list[tuple[int, int, str]]:
    clinic_id = enrolment.add_clinic(
        store, enrolment.NewClinic("hill", "Green Hill", "KE", "Africa/Nairobi", "tue", "+441134960001")
    )
    texts.approve_shipped(store, clinic_id, ["en"], "invented", FIRST_EVENING)
    for number in range(FAMILIES):
        family = enrolment.NewFamily(
            clinic_id=clinic_id,
            child_name=f"Child {number}",
            born=date(2026, 7, 1),
            brace_start=date(2026, 8, 25),
            caregiver_name="Mother",
            phone=f"+442079460{number:03}",
            language="en",
            contact_time=wall_time(18),
            agreed_at=FIRST_EVENING,
            agreed_text="invented",
            agreed_by="invented",
        )
        enrolment.enrol(store, family, FIRST_EVENING)
    with store.read() as connection:
        person = t.caregiver.c
        return [tuple(row) for row in connection.execute(select(person.id, person.child_id, person.phone))]


def _queue(store: Store, caregivers: list[tuple[int, int, str]], evening: int, now: datetime) -> None:
    with store.begin() as connection:
        for number, (caregiver_id, child_id, phone) in enumerate(caregivers):
            connection.execute(
                insert(t.outbox).values(
                    key=f"evening-{evening}-{number}",
                    child_id=child_id,
                    caregiver_id=caregiver_id,
                    kind="check_in_hours",
                    asks="hours",
                    language="en",
                    phone=phone,
                    body=BODY,
                    parts=1,
                    due_at=now,
                    useful_until=now + timedelta(days=30),
                    state="queued",
                    created_at=now,
                )
            )


def _states(store: Store) -> Counter[str]:
    with store.read() as connection:
        rows = connection.execute(select(t.outbox.c.state, func.count()).group_by(t.outbox.c.state))
        return Counter({row[0]: row[1] for row in rows})


def _open(store: Store) -> int:
    states = _states(store)
    return states["queued"] + states["sending"] + states["in_doubt"]


@contextmanager
def database_url(database: str, server: str | None, seed: int) -> Iterator[str]:
    if database == "sqlite":
        with tempfile.TemporaryDirectory(prefix="bracewatch-faults-") as folder:
            yield f"sqlite:///{folder}/families.sqlite3"
    else:
        assert server is not None
        with fresh_database(server, f"faults_{seed}") as url:
            yield url


HEAD = "| database | seed | messages | kills | stops | doubled | lost | in doubt settled | unknown | left open |"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--database", choices=["both", "sqlite", "postgresql"], default="both")
    parser.add_argument("--wrong", choices=sorted(set(SENDERS) - {"right"}), help="run this sender; it must be caught")
    parser.add_argument("--provide", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("-v", action="store_true", help="print database errors that senders met")
    given = parser.parse_args()
    if given.provide is not None:
        provide(int(given.provide[0]), Path(given.provide[1]))
        return 0
    databases = ["sqlite", "postgresql"] if given.database == "both" else [given.database]
    counts: list[Count] = []
    print(HEAD)
    print("|---" * HEAD.count(" | ") + "|---|")
    with postgres_server() if "postgresql" in databases else _no_server() as server:
        for database in databases:
            for seed in range(given.first_seed, given.first_seed + given.seeds):
                with database_url(database, server, seed) as url, tempfile.TemporaryDirectory() as folder:
                    sender = given.wrong or "right"
                    counts.append(drive(database, url, seed, sender, Path(folder) / "clock"))
                print("| " + " | ".join(str(value) for value in vars(counts[-1]).values()) + " |", flush=True)
    total = [sum(getattr(count, name) for count in counts) for name in list(vars(counts[0]))[2:]]
    print("| " + " | ".join(["all", "", *map(str, total)]) + " |")
    wrong = sum(count.doubled + count.lost + count.unknown + count.open for count in counts)
    if given.wrong:
        print(f"{given.wrong} was {'caught' if wrong else 'NOT caught'}")
        return 0 if wrong else 1
    return 1 if wrong else 0


@contextmanager
def _no_server() -> Iterator[None]:
    yield None


if __name__ == "__main__":
    sys.exit(main())
