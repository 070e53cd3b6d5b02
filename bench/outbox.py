"""How fast the outbox works, beside two queues of jobs that do less, on the same databases in the same run.

    python bench/outbox.py [--messages 10000] [--rounds 3] [--database sqlite] [--database postgresql]

It needs the project's extra `bench`. bench/README.md says what is measured and what came out.
"""

from __future__ import annotations

import argparse
import asyncio
import cProfile
import os
import pstats
import statistics
import tempfile
import time as clock
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from callbacks import a_family, phone
from databases import fresh_database, postgres_server  # found through the path that callbacks sets
from faults import Clock, provider_process
from huey import SqliteHuey
from procrastinate import App, PsycopgConnector
from sqlalchemy import func, insert, select, text

from bracewatch.messages.adapter import Accepted, Incoming, Listed, Outgoing
from bracewatch.messages.twilio_sms import TwilioSms
from bracewatch.services.enrolment import NewClinic, add_clinic, enrol
from bracewatch.services.sending import send_due
from bracewatch.services.texts import approve_shipped
from bracewatch.services.timing import Timing
from bracewatch.store import Store
from bracewatch.store import tables as t

FAMILIES = 1000  # each has its share of the messages
AT_ONCE = 100  # jobs put into procrastinate by one statement
CONCURRENCY = 10  # of procrastinate's second run
ON_DISK = 200  # writes with fsync, to say what one costs here
BODY = "How many hours did your child wear the brace yesterday? Answer with a number."

OUTBOX = {"sqlite": "Bracewatch, SQLite", "postgresql": "Bracewatch, PostgreSQL"}
HUEY, HUEY_RESULT = "huey, SQLite", "huey, SQLite, results kept"
PROCRASTINATE, SEVERAL = "procrastinate, PostgreSQL", f"procrastinate, PostgreSQL, {CONCURRENCY} at once"
BESIDE = {"sqlite": (HUEY, HUEY_RESULT), "postgresql": (PROCRASTINATE, SEVERAL)}


class Took(NamedTuple):
    """Seconds of one run: to put everything in (None: not timed), to take it out and write down that it is done, and
    what of that was spent elsewhere (in the provider). `disk` is what waiting for the disk once cost just before, in
    milliseconds."""

    put_in: float | None
    all_of_it: float
    elsewhere: float = 0.0
    disk: float = 0.0

    @property
    def work(self) -> float:
        return self.all_of_it - self.elsewhere


class TimedChannel:
    """A channel, and how many seconds were spent in handing over."""

    def __init__(self, channel: TwilioSms) -> None:
        self.channel, self.name, self.seconds = channel, channel.name, 0.0

    def send(self, message: Outgoing) -> Accepted:
        began = clock.perf_counter()
        try:
            return self.channel.send(message)
        finally:
            self.seconds += clock.perf_counter() - began

    def listing(self, since: datetime, to: str | None) -> list[Listed]:
        return self.channel.listing(since, to)

    def heard(self, since: datetime) -> list[Incoming]:
        return self.channel.heard(since)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--messages", type=int, default=10_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--database", action="append", choices=sorted(OUTBOX))
    parser.add_argument("--profile", action="store_true", help="say where the outbox's time goes; time nothing else")
    options = parser.parse_args()
    databases = options.database or ["sqlite", "postgresql"]
    rounds: list[dict[str, Took]] = []
    with servers(databases) as server:
        for number in range(options.rounds):
            load = os.getloadavg()[0]
            rounds.append({})
            for database in databases:
                rounds[-1] |= one_round(database, server, options.messages, profiled=options.profile)
            print(f"round {number + 1}, load {load:.1f}; work a second, and what an fsync cost before:", flush=True)
            for name, took in rounds[-1].items():
                print(f"    {name}: {options.messages / took.work:,.0f} ({took.disk:.2f} ms)", flush=True)
    show(rounds, databases, options.messages)


@contextmanager
def servers(databases: list[str]) -> Iterator[str]:
    """The URL of a PostgreSQL server that loses nothing in a power cut; empty when none is needed."""
    if "postgresql" not in databases:
        yield ""
        return
    with postgres_server(survives_power_cuts=True) as server:
        yield server


def one_round(database: str, server: str, messages: int, *, profiled: bool) -> dict[str, Took]:
    """Every run on that database once, each on a fresh one."""
    runs: dict[str, Callable[[str], Took]] = {OUTBOX[database]: lambda url: outbox(url, messages, profiled=profiled)}
    if not profiled and database == "sqlite":
        runs |= {
            HUEY: lambda url: huey_jobs(url, messages, results=False),
            HUEY_RESULT: lambda url: huey_jobs(url, messages, results=True),
        }
    elif not profiled:
        runs |= {
            PROCRASTINATE: lambda url: asyncio.run(procrastinate_jobs(url, messages, 1)),
            SEVERAL: lambda url: asyncio.run(procrastinate_jobs(url, messages, CONCURRENCY)),
        }
    took = {}
    for name, run in runs.items():
        with a_database(database, server) as url:
            disk = disk_milliseconds()
            took[name] = run(url)._replace(disk=disk)
    return took


@contextmanager
def a_database(database: str, server: str) -> Iterator[str]:
    if database == "sqlite":
        with tempfile.TemporaryDirectory() as folder:
            yield f"sqlite:///{folder}/bench.sqlite3"
    else:
        with fresh_database(server, "bench") as url:
            yield url


# The outbox.


def outbox(url: str, messages: int, *, profiled: bool) -> Took:
    """Send that many check-ins that are due, by one sender."""
    store = Store(url)
    store.migrate()
    insist_on_disk(store)
    with tempfile.TemporaryDirectory() as folder, provider_process(1, Path(folder) / "clock") as provider:
        settings, tell, references = provider
        tell("calm")  # no faults, no waiting
        now = Clock(Path(folder) / "clock")
        channel = TimedChannel(TwilioSms(replace(settings, timeout=Timing().timeout), now))
        families(store, now())
        send_due(store, channel, now, "bench")  # a sender was at work before: nothing has to be looked for first
        queue(store, messages, now())
        profile = cProfile.Profile()
        if profiled:
            profile.enable()
        began = clock.perf_counter()
        sent = 0
        while sent < messages:
            run = send_due(store, channel, now, "bench")
            if not run.sent:
                raise SystemExit(f"the sender stands still after {sent} messages: {run}")
            sent += run.sent
        took = Took(None, clock.perf_counter() - began, channel.seconds)
        profile.disable()
        insist_on_once_each(store, references(), messages)
    store.close()
    if profiled:
        pstats.Stats(profile).sort_stats("cumulative").print_stats(45)
    return took


def families(store: Store, now: datetime) -> None:
    clinic_id = add_clinic(store, NewClinic("hill", "Hill", "KE", "Africa/Nairobi", "tue", "+441134960001"))
    approve_shipped(store, clinic_id, ["sw"], "invented", now)
    for number in range(FAMILIES):
        enrol(store, a_family(clinic_id, number, now.date(), now), now)


def queue(store: Store, messages: int, now: datetime) -> None:
    with store.begin() as connection:
        child, caregiver = t.caregiver.c.child_id, t.caregiver.c.id
        people = connection.execute(select(child, caregiver).order_by(caregiver)).fetchall()
        connection.execute(insert(t.outbox), [a_check_in(number, people, now) for number in range(messages)])


def a_check_in(number: int, people: list[tuple[int, int]], now: datetime) -> dict[str, object]:
    family = number % len(people)
    child_id, caregiver_id = people[family]
    return {
        "key": f"check-in:{number}",
        "child_id": child_id,
        "caregiver_id": caregiver_id,
        "kind": "check_in_hours",
        "asks": "hours",
        "language": "en",
        "phone": phone(family),
        "body": BODY,
        "parts": 1,
        "due_at": now,
        "useful_until": now + timedelta(days=2),
        "state": "queued",
        "created_at": now,
    }


def insist_on_disk(store: Store) -> None:
    """Raises SystemExit when a commit does not wait for the disk."""
    asked = ("fsync", "synchronous_commit") if store.engine.dialect.name == "postgresql" else ()
    with store.read() as connection:
        found = {name: connection.execute(text(f"SHOW {name}")).scalar_one() for name in asked}
        if not asked:
            found["synchronous"] = connection.exec_driver_sql("PRAGMA synchronous").scalar_one()
    if set(found.values()) - {"on", 2}:
        raise SystemExit(f"commits must wait for the disk, but the database has {found}")


def insist_on_once_each(store: Store, arrived: list[str], messages: int) -> None:
    """Raises SystemExit unless every message is at the provider once and marked as sent."""
    times = Counter(arrived)
    with store.read() as connection:
        marked = connection.execute(select(func.count()).where(t.outbox.c.state == "sent")).scalar_one()
    if len(times) != messages or set(times.values()) != {1} or marked != messages:
        raise SystemExit(f"{messages} messages, {len(arrived)} arrived, {len(times)} different, {marked} marked")


# The queues of jobs.


def huey_jobs(url: str, jobs: int, *, results: bool) -> Took:
    """What huey's worker does for a job. A job is taken off in one commit; its result is kept by another."""
    queue = SqliteHuey("bench", filename=url.removeprefix("sqlite:///"), fsync=True, store_none=results)
    if queue.storage.sql("PRAGMA synchronous", results=True) != [(2,)]:
        raise SystemExit("commits must wait for the disk, but huey's do not")
    no_op = queue.task()(nothing)
    began = clock.perf_counter()
    for _ in range(jobs):
        no_op()
    put_in = clock.perf_counter() - began
    began, done = clock.perf_counter(), 0
    while (job := queue.dequeue()) is not None:
        queue.execute(job)
        done += 1
    took = Took(put_in, clock.perf_counter() - began)
    kept = queue.storage.result_store_size()
    queue.storage.close()
    if (done, kept) != (jobs, jobs if results else 0):
        raise SystemExit(f"huey did {done} of {jobs} jobs and kept {kept} results")
    return took


async def procrastinate_jobs(url: str, jobs: int, concurrency: int) -> Took:
    """One worker of procrastinate until nothing is left. A job is fetched in one commit and finished in another."""
    app = App(connector=PsycopgConnector(conninfo=url.replace("postgresql+psycopg:", "postgresql:")))
    no_op = app.task(name="no_op")(anothing)
    async with app.open_async():
        await app.schema_manager.apply_schema_async()
        began = clock.perf_counter()
        for first in range(0, jobs, AT_ONCE):
            await no_op.batch_defer_async(*[{} for _ in range(min(AT_ONCE, jobs - first))])
        put_in = clock.perf_counter() - began
        began = clock.perf_counter()
        await app.run_worker_async(wait=False, concurrency=concurrency, install_signal_handlers=False)
        took = Took(put_in, clock.perf_counter() - began)
        states = Counter(job.status for job in await app.job_manager.list_jobs_async())
    if states != {"succeeded": jobs}:
        raise SystemExit(f"procrastinate did not do all of {jobs} jobs: {states}")
    return took


def nothing() -> None:
    """A job."""


async def anothing() -> None:
    """A job, for a worker that awaits it."""


# What came out.


def disk_milliseconds() -> float:
    """What writing a little and waiting for the disk costs, the median of many."""
    times = []
    with tempfile.TemporaryFile() as file:
        for _ in range(ON_DISK):
            began = clock.perf_counter()
            file.write(b"x" * 4096)
            file.flush()
            os.fsync(file.fileno())
            times.append(1000 * (clock.perf_counter() - began))
    return statistics.median(times)


def show(rounds: list[dict[str, Took]], databases: list[str], messages: int) -> None:
    def a_second(name: str, seconds: Callable[[Took], float | None]) -> list[float]:
        return [messages / took for one in rounds if (took := seconds(one[name])) is not None]

    print(f"\n{messages:,} messages or jobs, rounds: {len(rounds)}, load now {os.getloadavg()[0]:.1f}\n")
    print("| | put in a second | work a second | range | end to end a second | range |\n|---|---|---|---|---|---|")
    for name in rounds[0]:
        columns = (
            middle(a_second(name, lambda took: took.put_in)),
            *both(a_second(name, lambda took: took.work)),
            *both(a_second(name, lambda took: took.all_of_it)),
        )
        print(f"| {name} | {' | '.join(columns)} |")
    print("\n| work, ratio | median of the rounds | range | and had they to put in as well |\n|---|---|---|---|")
    for database in databases:
        for other in filter(rounds[0].__contains__, BESIDE[database]):
            ours, theirs = ([one[name] for one in rounds] for name in (OUTBOX[database], other))
            ratios = [they.work / we.work for we, they in zip(ours, theirs, strict=True)]
            with_put_in = [(they.work + (they.put_in or 0)) / we.work for we, they in zip(ours, theirs, strict=True)]
            columns = (
                f"{statistics.median(ratios):.2f}",
                spread(ratios, ".2f"),
                f"{statistics.median(with_put_in):.2f}",
            )
            print(f"| {OUTBOX[database]} ÷ {other} | {' | '.join(columns)} |")


def middle(values: list[float]) -> str:
    return f"{statistics.median(values):,.0f}" if values else ""


def both(values: list[float]) -> tuple[str, str]:
    return middle(values), spread(values, ",.0f")


def spread(values: list[float], form: str) -> str:
    return f"{min(values):{form}} to {max(values):{form}}"


if __name__ == "__main__":
    main()
