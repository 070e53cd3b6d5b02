"""The commands. They only translate: words in, one call, words out."""

from __future__ import annotations

import json
import re
import signal
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bracewatch import __version__
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, parse_weekdays
from bracewatch.schedule.facts import Course, faults_in
from bracewatch.schedule.spans import add_months
from bracewatch.schedule.timeline import Timeline, build

if TYPE_CHECKING:
    from bracewatch.demo.practice_clinic import PracticeClinic

T = TypeVar("T")
TICK_SECONDS = 5

CAUTION = (
    "Bracewatch reminds and records; it does not diagnose. Local protocols and the treating clinician go first. "
    "Sore skin, or toes that are cold, blue or swollen: call the clinic today. Never stop the brace without asking."
)


@click.group()
@click.version_option(__version__)
def main() -> None:
    """Bracing after clubfoot correction: the timeline, the reminders, the replies, and whom to call."""


@dataclass
class Given:
    """What was typed, read field by field; every fault is kept so that all are named in one answer."""

    faults: list[str] = field(default_factory=list)

    def read(self, option: str, text: str | None, reader: Callable[[str], T]) -> T | None:
        if text is None:
            return None
        try:
            return reader(text)
        except (ValueError, OSError) as error:
            self.faults.append(f"{option}: {error}")
            return None

    def refuse_if_faulty(self) -> None:
        """End with exit code 2 and every fault, if there is one."""
        if self.faults:
            raise click.UsageError("\n".join(self.faults))


def iso_date(text: str) -> date:
    """A calendar day written YYYY-MM-DD. Raises ValueError for anything else, 30 February included."""
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII) is None:
        raise ValueError(f"{text!r} is not written as a day: write it as in 2026-03-14")
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is not a day in the calendar: write it as in 2026-03-14") from error


def a_protocol(text: str) -> protocol.Protocol:
    """A shipped protocol by its identifier, or one in a TOML file by its path."""
    if text.endswith(".toml") or "/" in text:
        try:
            return protocol.load(Path(text))
        except FileNotFoundError as error:
            raise ValueError(f"there is no file {text}") from error
    return protocol.shipped(text)


@main.command()
@click.option("--born", required=True, metavar="DATE", help="Birth date, YYYY-MM-DD.")
@click.option("--brace-start", required=True, metavar="DATE", help="The day the last cast came off.")
@click.option(
    "--protocol",
    "protocol_name",
    default=protocol.DEFAULT,
    show_default=True,
    metavar="ID",
    help="A shipped protocol, or the path of a TOML file.",
)
@click.option("--clinic-days", metavar="DAYS", help="As in tue,fri. Without it every day counts as a clinic day.")
@click.option("--until", metavar="DATE", help="Leave out what lies after this day.")
@click.option("--json", "as_json", is_flag=True, help="For programs: one JSON object.")
def plan(
    born: str, brace_start: str, protocol_name: str, clinic_days: str | None, until: str | None, as_json: bool
) -> None:
    """Print a child's bracing timeline: phases, visits, end. Needs no database."""
    given = Given()
    born_on = given.read("--born", born, iso_date)
    starts_on = given.read("--brace-start", brace_start, iso_date)
    rules = given.read("--protocol", protocol_name, a_protocol)
    weekdays = given.read("--clinic-days", clinic_days, parse_weekdays)
    last_day = given.read("--until", until, iso_date)
    if born_on and starts_on:
        given.faults += faults_in(born_on, starts_on, datetime.now(UTC).date())
    given.refuse_if_faulty()
    assert born_on is not None  # noqa: S101 - required, and refused above when unreadable
    assert starts_on is not None  # noqa: S101
    assert rules is not None  # noqa: S101
    calendar = ClinicCalendar(weekdays) if weekdays else ClinicCalendar()
    try:
        timeline = build(rules, Course(born_on, starts_on), calendar)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    if as_json:
        click.echo(json.dumps(_as_json(timeline, last_day), indent=2))
    else:
        click.echo(_as_text(timeline, rules, born_on, last_day, any_day=weekdays is None))


def _as_json(timeline: Timeline, until: date | None) -> dict[str, Any]:
    return {
        "protocol": {"id": timeline.protocol_id, "version": timeline.protocol_version},
        "phases": [
            {
                "key": phase.key,
                "start": phase.start.isoformat(),
                "end": phase.end.isoformat(),
                "hours_low": phase.hours_low,
                "hours_high": phase.hours_high,
                "gate": phase.gate,
            }
            for phase in timeline.phases
            if until is None or phase.start <= until
        ],
        "visits": [
            {
                "key": visit.key,
                "due": visit.due.isoformat(),
                "opens": visit.opens.isoformat(),
                "closes": visit.closes.isoformat(),
                "on": visit.on.isoformat() if visit.on else None,
            }
            for visit in timeline.visits
            if until is None or visit.due <= until
        ],
        "ends_on": timeline.ends_on.isoformat(),
    }


def _as_text(timeline: Timeline, rules: protocol.Protocol, born: date, until: date | None, *, any_day: bool) -> str:
    lines = [f"{rules.name} ({rules.id}, version {rules.version})", "", "Phases (up to, not including, the second day)"]
    for phase in timeline.phases:
        if until is None or phase.start <= until:
            gate = "  until the clinic says so at the visit" if phase.gate else ""
            lines.append(
                f"  {phase.start} to {phase.end}  {_hours(phase.hours_low, phase.hours_high):>10}  {phase.name}{gate}"
            )
    lines += ["", "Visits" + (" (no clinic days given: every day counts as open)" if any_day else "")]
    for visit in timeline.visits:
        if until is None or visit.due <= until:
            on = f"{visit.on:%a} {visit.on}" if visit.on else "no open day in its window"
            age = _age(born, visit.due)
            lines.append(f"  {on}  {visit.name} (due {visit.due}, counts {visit.opens} to {visit.closes}; {age})")
    lines += ["", f"Bracing ends {timeline.ends_on} ({_age(born, timeline.ends_on)}), if the clinic agrees.", ""]
    lines += ["Sources", *(f"  [{source.label}] {source.cite}" for source in rules.source), "", CAUTION]
    return "\n".join(lines)


def _hours(low: float, high: float) -> str:
    return f"{low:g} h" if low == high else f"{low:g} to {high:g} h"


def _age(born: date, day: date) -> str:
    months = (day.year - born.year) * 12 + day.month - born.month
    if add_months(born, months) > day:
        months -= 1
    years, rest = divmod(months, 12)
    return f"{years} y {rest} m old" if years else f"{rest} m old"


@main.command()
@click.option("--no-serve", is_flag=True, help="Play, print what came of it, and end.")
@click.option("--port", default=8321, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option(
    "--file",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The practice clinic's file; it goes on where it was. [default: practice.sqlite3, or none with --no-serve]",
)
@click.option("--as-of", metavar="INSTANT", help="Practise as if it were then, as in 2026-11-25T09:00Z.")
def demo(no_serve: bool, port: int, file: Path | None, as_of: str | None) -> None:
    """Practise with invented families: play their history, then serve the practice clinic on this machine."""
    from bracewatch.demo import families, summary
    from bracewatch.demo.practice_clinic import NotAPracticeFile, PracticeClinic

    given = Given()
    start = given.read("--as-of", as_of, an_instant)
    given.refuse_if_faulty()
    wall = _wall_clock(start)
    with tempfile.TemporaryDirectory() as folder:
        path = file or (Path(folder) / "practice.sqlite3" if no_serve else Path("practice.sqlite3"))
        try:
            clinic = PracticeClinic.on_file(path, families.shipped(), wall)
        except (NotAPracticeFile, families.ProgrammeFileError) as error:
            raise click.UsageError(str(error)) from error
        clinic.tick()
        for line in summary.lines(clinic.store, clinic.now()):
            click.echo(line)
        if not no_serve:
            serve(clinic, port)
        clinic.store.close()


def an_instant(text: str) -> datetime:
    """An instant in ISO 8601 with its offset. Raises ValueError without one."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is not an instant: write it as in 2026-11-25T09:00Z") from error
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} does not say in which zone: end it with Z or an offset such as +03:00")
    return moment.astimezone(UTC)


def _wall_clock(start: datetime | None) -> Callable[[], datetime]:
    """The clock on the wall, or one that shows `start` now and runs on from there."""
    shift = start - datetime.now(UTC) if start else timedelta(0)
    return lambda: datetime.now(UTC) + shift


def serve(clinic: PracticeClinic, port: int) -> None:
    """Serve the practice clinic on loopback until SIGTERM or SIGINT, then finish what is in flight."""
    from waitress.server import create_server

    from bracewatch import worker
    from bracewatch.web.app import create_app

    app = create_app(clinic.store, clock=clinic.now, secret=clinic.secret, practice=clinic)
    try:
        server = create_server(app, host="127.0.0.1", port=port, threads=4)
    except OSError as error:
        raise click.UsageError(f"port {port} cannot be used ({error.strerror}): choose another with --port") from error

    def stop(_signal: int, _frame: object) -> None:
        raise SystemExit(0)

    signal.signal(signal.SIGTERM, stop)
    ticking = worker.start(clinic.tick, every_seconds=TICK_SECONDS)
    click.echo(f"\nThe practice clinic is open at http://127.0.0.1:{server.effective_port} (Ctrl+C closes it)")
    try:
        server.run()  # comes back after SIGTERM or Ctrl+C, when what was in flight is done
    finally:
        ticking.shutdown(wait=True)
        server.close()
    click.echo("Closed. Start it again and it goes on where it was.")
