"""Faults of a protocol that only show when a timeline is made with it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course
from bracewatch.schedule.protocol import Protocol, ProtocolError, Variant, load
from bracewatch.schedule.timeline import Phase, Timeline, build
from bracewatch.schedule.visit_days import MAX_VISITS

_BORN = date(2023, 1, 1)  # any day would do: ages are what matters


def load_rehearsed(path: Path) -> Protocol:
    """The protocol in a TOML file. Raises what `protocol.load` does, with the faults that show in use among them."""
    faults: list[str] = []
    try:
        protocol: Protocol | None = load(path)
    except ProtocolError as error:
        protocol, faults = error.readable, list(error.faults)
    faults += [] if protocol is None else faults_in_use(protocol)
    if faults or protocol is None:
        raise ProtocolError(path.name, faults, protocol)
    return protocol


def faults_in_use(protocol: Protocol) -> list[str]:
    """What is wrong for the youngest and the oldest child of each variant, each with its place in the file.

    A variant that covers no child or leaves no day of bracing, a phase that no child gets, two visits of one key,
    a row of visits without a sensible end, a decision whose visit does not count on the day it is due. Empty when
    there is none of these.
    """
    return [
        fault
        for number, variant in enumerate(protocol.variant)
        for fault in _of_variant(protocol.model_copy(update={"variant": (variant,)}), number, variant)
    ]


def _of_variant(protocol: Protocol, number: int, variant: Variant) -> Iterator[str]:
    path = f"variant.{number}"
    youngest = variant.corrected_from.after(_BORN) if variant.corrected_from else _BORN
    oldest = variant.corrected_before.after(_BORN) - timedelta(days=1) if variant.corrected_before else youngest
    if oldest < youngest:
        yield f"{path}: no child is covered: 'corrected_before' must be later than 'corrected_from'"
        return
    timelines = []
    for start in dict.fromkeys((youngest, oldest)):
        try:
            timelines.append(build(protocol, Course(_BORN, start, foot=variant.feet[0]), ClinicCalendar()))
        except ValueError:
            age = (start - _BORN).days
            yield f"{path}.phase: no day of bracing is left for a child corrected {age} days after birth"
    if timelines:
        yield from _of_phases(path, variant, timelines)
        yield from _of_visits(path, variant, timelines)
        yield from _of_decisions(path, variant, timelines)


def _of_phases(path: str, variant: Variant, timelines: list[Timeline]) -> Iterator[str]:
    reached = {phase.key for timeline in timelines for phase in timeline.phases}
    for place, rule in enumerate(variant.phase):
        if rule.key not in reached:
            yield f"{path}.phase.{place}: no child gets a day of {rule.key!r}: it ends before the phases before it do"


def _of_visits(path: str, variant: Variant, timelines: list[Timeline]) -> Iterator[str]:
    keys = max((Counter(visit.key for visit in timeline.visits) for timeline in timelines), key=Counter.total)
    for key, count in keys.items():
        if count > 1:
            yield f"{path}.visit: {count} visits would be called {key!r}: rename the single visit or the row"
    for place, rule in enumerate(variant.visit):
        if rule.every is not None and f"{rule.key}-{MAX_VISITS - 1}" in keys:
            yield f"{path}.visit.{place}: a row of {MAX_VISITS - 1} visits or more: end it earlier, or widen 'every'"


def _of_decisions(path: str, variant: Variant, timelines: list[Timeline]) -> Iterator[str]:
    """Decisions that are due on a day on which no visit that decides them counts."""
    places: dict[str, int] = {}  # of the first visit that decides each gate
    for place, rule in enumerate(variant.visit):
        if rule.decides is not None:
            places.setdefault(rule.decides, place)
    gates = Counter(rule.gate for rule in variant.phase)
    for gate, place in places.items():
        if gates[gate] > 1:
            continue  # reported where the file is read
        missed = [phase for timeline in timelines for phase in timeline.phases if _is_missed(phase, gate, timeline)]
        if missed:
            yield (
                f"{path}.visit.{place}: decides {gate!r}, but its window does not hold the day on which "
                f"{missed[0].key!r} is planned to end: let the visit fall on that day"
            )


def _is_missed(phase: Phase, gate: str, timeline: Timeline) -> bool:
    windows = [(visit.opens, visit.closes) for visit in timeline.visits if visit.decides == gate]
    return phase.gate == gate and not any(opens <= phase.end <= closes for opens, closes in windows)
