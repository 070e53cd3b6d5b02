"""The play of the practice clinic: through the services, resumable at any moment."""

import contextlib
import gc
import itertools
import os
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from bracewatch.demo import families, player
from bracewatch.demo.practice_clinic import NotAPracticeFile, PracticeClinic
from bracewatch.schedule.local_time import local
from bracewatch.store import Store
from bracewatch.store import tables as t

AS_OF = datetime(2026, 11, 25, 9, tzinfo=UTC)
PROGRAMME = families.shipped()


def open_clinic(path: Path, now: datetime = AS_OF) -> PracticeClinic:
    return PracticeClinic.on_file(path, PROGRAMME, lambda: now)


def what_happened(store: Store) -> dict[str, list[Any]]:
    """Everything that matters of a play, without the numbers of rows."""
    with store.read() as connection:

        def rows(*columns: Any) -> list[Any]:
            return sorted(map(tuple, connection.execute(select(*columns))), key=repr)

        names = t.child.c.name
        return {
            "outbox": rows(t.outbox.c.kind, t.outbox.c.phone, t.outbox.c.due_at, t.outbox.c.state, t.outbox.c.sent_at),
            "inbound": rows(t.inbound.c.sid, t.inbound.c.received_at, t.inbound.c.meaning),
            "reports": rows(t.wear_report.c.kind, t.wear_report.c.day, t.wear_report.c.low, t.wear_report.c.heard_at),
            "facts": rows(t.course_fact.c.kind, t.course_fact.c.on_day, t.course_fact.c.about),
            "flags": sorted(
                map(tuple, connection.execute(select(names, t.flag.c.code, t.flag.c.cleared_at).join(t.child))),
                key=repr,
            ),
        }


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> PracticeClinic:
    clinic = open_clinic(tmp_path_factory.mktemp("play") / "practice.sqlite3")
    clinic.tick()
    return clinic


def count(store: Store, table: Any) -> int:
    with store.read() as connection:
        return int(connection.execute(select(func.count()).select_from(table)).scalar_one())


def test_every_family_of_the_file_has_been_enrolled(played: PracticeClinic) -> None:
    assert count(played.store, t.child) == len(PROGRAMME.families) >= 40


def test_messages_went_out_replies_came_in_and_flags_stand(played: PracticeClinic) -> None:
    with played.store.read() as connection:
        kinds = set(connection.execute(select(t.outbox.c.kind).where(t.outbox.c.state == "sent")).scalars())
        meanings = set(connection.execute(select(t.inbound.c.meaning)).scalars())
        standing = set(connection.execute(select(t.flag.c.code).where(t.flag.c.cleared_at.is_(None))).scalars())
    assert kinds >= {"welcome", "check_in_hours", "check_in_nights", "visit_reminder", "missed_visit", "thanks"}
    assert meanings >= {"hours", "nights", "coming", "trouble", "call_me", "unread"}
    assert standing >= {"missed-visit", "low-wear", "no-reply", "sore-skin", "asked-for-call"}


def test_nothing_was_said_before_its_moment_or_after_it(played: PracticeClinic) -> None:
    with played.store.read() as connection:
        rows = connection.execute(
            select(t.outbox.c.due_at, t.outbox.c.sent_at, t.outbox.c.useful_until).where(t.outbox.c.state == "sent")
        ).fetchall()
    assert rows
    assert all(row.due_at <= row.sent_at < row.useful_until for row in rows)


def test_nobody_was_written_to_at_night_but_about_a_sore_foot_or_to_confirm_a_stop(played: PracticeClinic) -> None:
    with played.store.read() as connection:
        rows = connection.execute(
            select(t.outbox.c.kind, t.outbox.c.sent_at, t.caregiver.c.time_zone)
            .join(t.caregiver)
            .where(t.outbox.c.state == "sent", t.outbox.c.kind.not_in(["trouble_heard", "stopped"]))
        ).fetchall()
    hours = [local(row.sent_at, row.time_zone).hour for row in rows]
    assert hours
    assert all(8 <= hour < 21 for hour in hours)


def test_a_play_that_is_played_again_to_the_same_moment_changes_nothing(played: PracticeClinic) -> None:
    before = what_happened(played.store)
    played.tick()
    assert what_happened(played.store) == before


def test_a_play_in_many_stretches_is_the_same_play(played: PracticeClinic, tmp_path: Path) -> None:
    clinic = open_clinic(tmp_path / "practice.sqlite3")
    for days in (200, 77, 30, 9, 1, 0):
        player.play_to(clinic.store, PROGRAMME, AS_OF - timedelta(days=days))
    assert what_happened(clinic.store) == what_happened(played.store)


class Killed(BaseException):
    """As a kill would, this goes past everything that handles errors."""


@pytest.mark.parametrize("commits", [3, 40, 77, 300, 801, 2003])
def test_a_play_that_is_killed_between_any_two_transactions_goes_on_where_it_was(
    played: PracticeClinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, commits: int
) -> None:
    left = itertools.count(commits, -1)
    begin = Store.begin

    def begin_or_die(store: Store) -> Any:
        if next(left) == 0:
            raise Killed
        return begin(store)

    file = tmp_path / "practice.sqlite3"
    with monkeypatch.context() as patched:
        patched.setattr(Store, "begin", begin_or_die)
        with pytest.raises(Killed):
            open_and_play(file)
    gc.collect()  # the dead clinic lets go of its file
    clinic = open_clinic(file)
    clinic.tick()
    assert what_happened(clinic.store) == what_happened(played.store)
    clinic.close()


def open_and_play(file: Path) -> None:
    clinic = open_clinic(file)
    try:
        clinic.tick()
    finally:
        clinic.close()


def test_a_demo_that_is_killed_by_the_system_can_be_started_again(tmp_path: Path) -> None:
    file = tmp_path / "practice.sqlite3"
    command = [str(Path(sys.executable).parent / "bracewatch"), "demo", "--no-serve", "--file", str(file)]
    command += ["--as-of", AS_OF.isoformat()]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while not file.exists() or file.stat().st_size == 0:
        time.sleep(0.05)
    time.sleep(1)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120)
    assert "First calls" in done.stdout


def test_two_practice_clinics_cannot_have_one_file(tmp_path: Path) -> None:
    file = tmp_path / "practice.sqlite3"
    first = open_clinic(file)
    with pytest.raises(NotAPracticeFile, match="open in another practice clinic"):
        open_clinic(file)
    first.close()
    open_clinic(file).close()


@pytest.mark.parametrize("name", ["odd?x=1&mode=ro.sqlite3", "per%41cent.sqlite3", "with space#.sqlite3"])
def test_a_file_is_written_under_the_name_it_was_given(tmp_path: Path, name: str) -> None:
    open_clinic(tmp_path / name).close()
    assert (tmp_path / name).stat().st_size > 0
    open_clinic(tmp_path / name).close()


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(NotAPracticeFile, match="cannot be opened"):
        open_clinic(tmp_path / "none" / "practice.sqlite3")


def test_a_file_of_something_else_is_never_played_with(tmp_path: Path) -> None:
    path = tmp_path / "families.sqlite3"
    store = Store(f"sqlite:///{path}")
    store.migrate()
    store.close()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    before = path.read_bytes()
    with pytest.raises(NotAPracticeFile, match="--file"):
        open_clinic(path)
    assert path.read_bytes() == before


def test_the_next_morning_moves_the_clock_and_plays_the_day(tmp_path: Path) -> None:
    clinic = open_clinic(tmp_path / "practice.sqlite3")
    clinic.tick()
    sent = count(clinic.store, t.outbox)
    for day in (26, 27, 28):
        clinic.to_next_morning()
        assert clinic.now() == datetime(2026, 11, day, 6, tzinfo=UTC)
    assert count(clinic.store, t.outbox) > sent


def test_who_answers_by_hand_silences_the_script(tmp_path: Path) -> None:
    clinic = open_clinic(tmp_path / "practice.sqlite3")
    clinic.tick()
    with clinic.store.read() as connection:
        child_ids = list(connection.execute(select(t.child.c.id)).scalars())
        heard = connection.execute(select(func.count()).select_from(t.inbound)).scalar_one()
    for child_id in child_ids:
        assert not clinic.by_hand(child_id)
        clinic.take_over(child_id)
        assert clinic.by_hand(child_id)
    for _ in range(5):
        clinic.to_next_morning()
    assert count(clinic.store, t.inbound) == heard
