"""The command `plan`: a child's bracing timeline, from what is typed alone."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import click

from bracewatch.cli import comparison_words, plan_words
from bracewatch.cli.extras import (
    EVENING,
    Boot,
    Clocks,
    Text,
    boot_lines,
    boots_as_json,
    read_bar,
    read_boots,
    read_contact_time,
    read_zone,
    text_lines,
    texts_as_json,
    texts_of,
)
from bracewatch.cli.given import Given, a_protocol, degrees_within, iso_date, one_of, protocols_in
from bracewatch.cli.held_against import Move, faults_of_course, faults_of_move
from bracewatch.cli.notes import Basis, Note, notes_on
from bracewatch.cli.typed_facts import HELP, read_facts
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import ClinicCalendar, check_country, parse_weekdays
from bracewatch.schedule.comparing import Comparison, compare, compare_rules
from bracewatch.schedule.facts import Course, FactKind, ahead_of, faults_in, in_words
from bracewatch.schedule.feet import POSSIBLE, Correction, FootKind, Sides
from bracewatch.schedule.protocol import FEET, Protocol
from bracewatch.schedule.timeline import Timeline, build, moved

OWN_CLOSED_DAY = "the clinic's own day off"
SIDES = ("left", "right", "both")
MEASURES = {  # option: what it is in a Correction, and what it means
    "--abduction-before": ("abduction_before_release", "Abduction in the last cast before the heel-cord release."),
    "--abduction-after": ("abduction_last_cast", "Abduction in the last cast, after the release."),
    "--dorsiflexion": ("dorsiflexion", "Dorsiflexion at the end of casting; negative when the foot points down."),
    "--rotation-affected": ("rotation_affected", "How far the boot of an affected foot is turned out."),
    "--rotation-unaffected": ("rotation_unaffected", "How far the boot of an unaffected foot is turned out."),
    "--bend": ("bend", "How far the bar is bent."),
}

Command = Callable[..., None]


def protocols_option(command: Command) -> Command:
    return click.option(
        "--protocols",
        "folder",
        envvar="BRACEWATCH_PROTOCOLS",
        metavar="FOLDER",
        help="A clinic's own protocol files, beside the shipped ones. [environment: BRACEWATCH_PROTOCOLS]",
    )(command)


def _measures(command: Command) -> Command:
    for option, (name, words) in reversed(MEASURES.items()):
        command = click.option(option, name, metavar="DEGREES", help=words)(command)
    return command


@click.command()
@click.option("--born", required=True, metavar="DATE", help="Birth date, YYYY-MM-DD.")
@click.option("--brace-start", required=True, metavar="DATE", help="The day the last cast came off.")
@click.option("--sides", metavar="SIDES", help="Which feet are affected: left, right or both.")
@click.option(
    "--foot", default="typical", show_default=True, metavar="KIND", help="typical, atypical or loose (joints)."
)
@click.option(
    "--protocol",
    "protocol_name",
    default=protocol.DEFAULT,
    show_default=True,
    metavar="ID",
    help="A protocol by its identifier, or the path of a TOML file.",
)
@protocols_option
@click.option("--clinic-days", metavar="DAYS", help="As in tue,fri. Without it every day counts as a clinic day.")
@click.option("--country", metavar="CC", help="Closed on the public holidays of this country, as in KE (ISO 3166).")
@click.option("--region", metavar="RR", help="Where holidays differ within the country, as in KL for --country IN.")
@click.option("--closed", multiple=True, metavar="DATE", help="A day on which the clinic is closed; repeat as needed.")
@click.option("--fact", "facts", multiple=True, metavar="KIND=DATE", help=HELP)
@_measures
@click.option(
    "--foot-length",
    "feet",
    multiple=True,
    metavar="SIDE=MM@DATE",
    help="A measured foot, as in left=86@2026-09-01: when its next boots are due. Repeat for the other.",
)
@click.option("--shoulder-width", metavar="CM", help="For the length of the bar.")
@click.option("--zone", "zone_name", metavar="ZONE", help="Where the family lives (IANA): when texts go out there.")
@click.option("--contact-time", metavar="HH:MM", help="At what time of day. [default: 18:00]")
@click.option(
    "--as-of",
    metavar="DATE",
    help="As it looks on this day: a step that nobody has decided goes on. Facts after it are refused.",
)
@click.option(
    "--move",
    metavar="ID=DATE",
    help="Follow another protocol (or file) from that day on, and see what changes before anybody confirms it.",
)
@click.option("--until", metavar="DATE", help="Leave out what lies after this day.")
@click.option("--ics", metavar="FILE", help="Also write a calendar file (RFC 5545) that any calendar opens.")
@click.option("--label", metavar="WORD", help="Tells twins apart in calendar files, as in A or B. No names.")
@click.option("--json", "as_json", is_flag=True, help="For programs: one JSON object.")
def plan(**typed: Any) -> None:
    """Print a child's bracing timeline: picture, phases, visits, end, and what to look at again.

    Needs no database and stores nothing.
    """
    asked = _read(typed)
    *before, whole = _plans(asked, asked.course)
    timeline = _only_until(whole, asked.until)
    today = asked.as_of or datetime.now(UTC).date()
    notes = notes_on(whole, Basis(asked.in_force, asked.course, asked.clinic, asked.correction, today), asked.until)
    texts = texts_of(whole, asked.in_force.contact, asked.clocks, asked.until) if asked.clocks is not None else None
    changes = compare(_only_until(before[0], asked.until), timeline) if before else None
    if asked.calendar_file is not None:
        click.echo(_write_calendar(timeline, asked, asked.calendar_file), err=True)
    if typed["as_json"]:
        click.echo(json.dumps(_as_json(timeline, asked, notes, texts, changes), indent=2))
    else:
        click.echo("\n".join([_as_text(timeline, asked, notes, texts), *_what_changes(changes, asked)]))


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything typed, read and found possible."""

    rules: Protocol
    course: Course
    clinic: ClinicCalendar
    correction: Correction
    sides: str | None
    boots: list[Boot]
    bar_cm: float | None
    clocks: Clocks | None  # those of the family, when somebody said where it lives
    any_day: bool  # no clinic days were given
    as_of: date | None
    move: Move | None
    until: date | None
    calendar_file: Path | None
    label: str

    @property
    def in_force(self) -> Protocol:
        """The protocol followed in the end."""
        return self.move[0] if self.move is not None else self.rules


def _read(typed: dict[str, Any]) -> Asked:
    """What was typed. Raises click.UsageError with everything that is wrong."""
    given = Given()
    born = given.read("--born", typed["born"], iso_date)
    start = given.read("--brace-start", typed["brace_start"], iso_date)
    until = given.read("--until", typed["until"], iso_date)
    as_of = given.read("--as-of", typed["as_of"], iso_date)
    foot = given.read("--foot", typed["foot"], one_of(FEET))
    known = given.read("--protocols", typed["folder"] or "", protocols_in)
    rules = given.read("--protocol", typed["protocol_name"], a_protocol(known)) if known is not None else None
    clinic = _read_clinic(given, typed)
    correction = _read_correction(given, typed, foot)
    boots = read_boots(given, born, typed["feet"])
    bar_cm = read_bar(given, typed["shoulder_width"])
    zone_name = given.read("--zone", typed["zone_name"], read_zone)
    contact_time = given.read("--contact-time", typed["contact_time"], read_contact_time) or EVENING
    clocks = Clocks(zone_name, contact_time) if zone_name is not None else None
    if typed["contact_time"] is not None and typed["zone_name"] is None:
        given.faults.append("--contact-time: say with --zone where the family lives, as in Africa/Nairobi")
    move = given.read("--move", typed["move"], lambda text: _a_move(text, known or {}))
    gates = _gates(rules, *([move[0]] if move else [])) if rules else None
    facts, faults = read_facts(typed["facts"], gates)
    given.faults += faults
    if as_of is not None:
        given.faults += [f"{in_words(fact)} on {fact.on} is after --as-of {as_of}" for fact in ahead_of(as_of, facts)]
    if typed["label"] is not None and typed["ics"] is None:
        given.faults.append("--label: say with --ics which file it is for")
    if born is not None and start is not None:
        given.faults += faults_in(born, start, datetime.now(UTC).date(), facts)
        if rules is not None and foot is not None:
            course = Course(born, start, tuple(facts), foot)
            wrong_move = faults_of_move(move, course)
            given.faults += faults_of_course(rules, course, None if wrong_move else move, given.faults)
            given.faults += wrong_move
    if born is None or start is None or rules is None or foot is None or correction is None or given.faults:
        raise given.refusal()
    course = Course(born, start, tuple(facts), foot)
    file = Path(typed["ics"]) if typed["ics"] is not None else None
    any_day = typed["clinic_days"] is None
    return Asked(
        rules,
        course,
        clinic,
        correction,
        typed["sides"],
        boots,
        bar_cm,
        clocks,
        any_day,
        as_of,
        move,
        until,
        file,
        typed["label"] or "",
    )


def _gates(*followed: Protocol) -> set[str]:
    return {phase.gate for rules in followed for variant in rules.variant for phase in variant.phase if phase.gate}


def _a_move(text: str, known: dict[str, Protocol]) -> tuple[Protocol, date]:
    """A protocol and a day in a text such as graded-step-down=2027-01-01. Raises ValueError for anything else."""
    name, sign, day = text.rpartition("=")
    if not sign or not name:
        raise ValueError(f"{text!r} is not read: write the protocol and the day, as in graded-step-down=2027-01-01")
    return a_protocol(known)(name), iso_date(day)


def _plans(asked: Asked, course: Course) -> Iterator[Timeline]:
    """The timeline of the course, then, when a move was asked for, the one with the move."""
    plan = build(asked.rules, course, asked.clinic, asked.as_of)
    yield plan
    if asked.move is not None:
        rules, day = asked.move
        yield moved(plan, rules, course, asked.clinic, day, asked.as_of)


def _what_changes(changes: Comparison | None, asked: Asked) -> Iterator[str]:
    if changes is None or asked.move is None:
        return
    rules, day = asked.move
    yield f"\nWhat changes from {day} on: A stays, B moves"
    yield from comparison_words.lines(asked.rules, rules, changes, compare_rules(asked.rules, rules))


def _read_clinic(given: Given, typed: dict[str, Any]) -> ClinicCalendar:
    weekdays = given.read("--clinic-days", typed["clinic_days"], parse_weekdays)
    closed = given.read_all("--closed", typed["closed"], iso_date)
    country = given.read("--country", typed["country"], _a_country)
    region = typed["region"]
    if region is not None and typed["country"] is None:
        given.faults.append("--region: say with --country in which country")
    elif region is not None and country is not None:
        given.read("--region", region, lambda text: check_country(country, text))
    return ClinicCalendar(
        weekdays or frozenset(range(7)), closed=dict.fromkeys(closed, OWN_CLOSED_DAY), country=country, region=region
    )


def _a_country(text: str) -> str:
    check_country(text.upper())
    return text.upper()


def _read_correction(given: Given, typed: dict[str, Any], foot: str | None) -> Correction | None:
    """What was measured; None when some of it cannot be."""
    before = len(given.faults)
    sides = given.read("--sides", typed["sides"], one_of(SIDES))
    values: dict[str, Any] = {
        name: given.read(option, typed[name], degrees_within(*POSSIBLE[name])) for option, (name, _) in MEASURES.items()
    }
    if typed["rotation_unaffected"] is not None and typed["sides"] is None:
        given.faults.append("--rotation-unaffected: say with --sides left or right which foot is affected")
    if foot is None or len(given.faults) > before:
        return None
    return Correction(cast(FootKind, foot), cast(Sides, sides or "both"), **values)


def _only_until(timeline: Timeline, until: date | None) -> Timeline:
    """The timeline without the phases that begin, and the visits that are due, after that day."""
    if until is None:
        return timeline
    return replace(
        timeline,
        phases=tuple(phase for phase in timeline.phases if phase.start <= until),
        visits=tuple(visit for visit in timeline.visits if visit.due <= until),
    )


def _as_json(
    timeline: Timeline, asked: Asked, notes: list[Note], texts: list[Text] | None, changes: Comparison | None
) -> dict[str, Any]:
    """Everything that the text says, for programs; what was not asked for is null or empty."""
    moves = None
    if changes is not None and asked.move is not None:
        moves = {"from": asked.move[1].isoformat(), **comparison_words.as_json(changes)}
    return {
        **plan_words.as_json(timeline, notes),
        "sides": asked.sides,
        "foot": asked.course.foot,
        **boots_as_json(asked.boots, asked.bar_cm),
        "texts": texts_as_json(texts),
        "changes": moves,
    }


def _as_text(timeline: Timeline, asked: Asked, notes: list[Note], texts: list[Text] | None) -> str:
    width = min(max(shutil.get_terminal_size((80, 24)).columns, 60), 120)
    words = plan_words.PlanWords(asked.in_force, asked.course, asked.sides, asked.any_day, asked.until, width)
    extras = list(boot_lines(asked.boots, asked.bar_cm))
    if asked.clocks is not None and texts is not None:
        extras += text_lines(texts, asked.clocks)
    return words.text(timeline, notes, extras)


def _write_calendar(timeline: Timeline, asked: Asked, file: Path) -> str:
    """Write the calendar file; the sentence that says so. Raises click.UsageError when it cannot be written."""
    from bracewatch.exchange.calendar_file import calendar_file

    course = asked.course
    name = f"{asked.rules.id} {course.born} {course.brace_start} {course.foot} {asked.sides or ''} {asked.label}"
    older = [_only_until(plan, asked.until) for plan in _older_plans(asked)]
    try:
        file.write_bytes(calendar_file(timeline, name, datetime.now(UTC), older))
    except OSError as error:
        raise click.UsageError(f"--ics: {file} cannot be written: {error.strerror}") from error
    return f"Calendar file written: {file}"


def _older_plans(asked: Asked) -> Iterator[Timeline]:
    """The plans that older files of the course may hold: from before the move, from before each word on the end."""
    unsaid: set[FactKind] = set()
    for kinds in ((), (FactKind.END_TAKEN_BACK,), (FactKind.ENDED,), (FactKind.LENGTHENED,)):
        unsaid.update(kinds)
        facts = tuple(fact for fact in asked.course.facts if fact.kind not in unsaid)
        yield from _plans(asked, replace(asked.course, facts=facts))
