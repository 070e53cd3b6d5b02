"""The commands about protocol files: list, check, show, compare."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import click

from bracewatch.cli import comparison_words, protocol_words
from bracewatch.cli.given import Given, a_protocol, a_protocol_file, iso_date, one_of, protocols_in
from bracewatch.cli.planning import protocols_option
from bracewatch.schedule import protocol as protocols
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.comparing import compare as compare_timelines
from bracewatch.schedule.comparing import compare_rules
from bracewatch.schedule.facts import Course, faults_in
from bracewatch.schedule.protocol import FEET, Protocol, ProtocolError
from bracewatch.schedule.timeline import Timeline, build

EXAMPLE_BORN, EXAMPLE_START = date(2026, 7, 1), date(2026, 9, 1)


@click.group()
def protocol() -> None:
    """Protocol files: list them, check one, show one, compare two."""


@protocol.command("list")
@protocols_option
def list_protocols(folder: str | None) -> None:
    """List the protocols that can be used, each with its identifier."""
    given = Given()
    known = given.read("--protocols", folder or "", protocols_in)
    if known is None:
        raise given.refusal()
    for rules in known.values():
        click.echo(protocol_words.one_line(rules, shipped=rules.id in protocols.shipped_ids()))


@protocol.command()
@click.argument("file")
@click.pass_context
def check(context: click.Context, file: str) -> None:
    """Check a protocol FILE: every fault, with its place and what is allowed. Exit code 2 when there is one."""
    try:
        faults = _taken_identifier(a_protocol_file(file))
    except ProtocolError as error:
        faults = _taken_identifier(error.readable) + list(error.faults)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    if not faults:
        click.echo(f"{Path(file).name}: no faults")
        return
    click.echo(str(ProtocolError(Path(file).name, faults)))
    context.exit(2)


def _taken_identifier(rules: Protocol | None) -> list[str]:
    """The fault of a file that can be read and has the identifier of a shipped one; empty for the shipped one."""
    if rules is None or rules.id not in protocols.shipped_ids() or rules.text == protocols.shipped(rules.id).text:
        return []
    return [f"id: {rules.id!r} comes with the program: choose another for this file"]


@protocol.command()
@click.argument("name", metavar="ID|FILE")
@protocols_option
def show(name: str, folder: str | None) -> None:
    """Show a protocol for people: what it is, its phases, visits, thresholds, contact, settings and sources."""
    given = Given()
    (rules,) = _read_protocols(given, folder, name)
    if rules is None:
        raise given.refusal()
    click.echo(protocol_words.in_full(rules))


@protocol.command()
@click.argument("one", metavar="A")
@click.argument("other", metavar="B")
@click.option("--born", metavar="DATE", help=f"The child's birth date. [default: an example, {EXAMPLE_BORN}]")
@click.option("--brace-start", metavar="DATE", help=f"The day the last cast came off. [default: {EXAMPLE_START}]")
@click.option(
    "--foot", default="typical", show_default=True, metavar="KIND", help="typical, atypical or loose (joints)."
)
@protocols_option
def compare(one: str, other: str, born: str | None, brace_start: str | None, foot: str, folder: str | None) -> None:
    """Compare protocols A and B: how one child's calendar would differ, and which rules do."""
    given = Given()
    course = _read_child(given, born, brace_start, foot)
    before, after = _read_protocols(given, folder, one, other)
    if course is None or before is None or after is None:
        raise given.refusal()
    timelines = [timeline for rules in (before, after) if (timeline := _timeline(given, rules, course)) is not None]
    given.refuse_if_faulty()
    comparison = compare_timelines(*timelines)
    words = comparison_words.lines(before, after, comparison, compare_rules(before, after))
    example = "" if born else " (an example; give --born and --brace-start for another)"
    click.echo(f"A child born {course.born}, in the brace from {course.brace_start}, {foot} foot{example}")
    click.echo("\n".join(words))


def _read_protocols(given: Given, folder: str | None, *names: str) -> list[Protocol | None]:
    known = given.read("--protocols", folder or "", protocols_in)
    if known is None:
        return [None for _ in names]
    return [given.read("protocol", name, a_protocol(known)) for name in names]


def _read_child(given: Given, born: str | None, brace_start: str | None, foot: str) -> Course | None:
    """The child that was typed, or the example; None, with a fault noted, when it cannot be."""
    before = len(given.faults)
    kind = given.read("--foot", foot, one_of(FEET))
    if (born is None) != (brace_start is None):
        given.faults.append("give both --born and --brace-start, or neither for an example")
    born_on = given.read("--born", born, iso_date) or EXAMPLE_BORN
    start = given.read("--brace-start", brace_start, iso_date) or EXAMPLE_START
    if born is not None and len(given.faults) == before:
        given.faults += faults_in(born_on, start, datetime.now(UTC).date())
    return None if kind is None or len(given.faults) > before else Course(born_on, start, foot=kind)


def _timeline(given: Given, rules: Protocol, course: Course) -> Timeline | None:
    try:
        return build(rules, course, ClinicCalendar())
    except ValueError as error:
        given.faults.append(str(error))
        return None
