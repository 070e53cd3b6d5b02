"""Faults of the practice programme that only show when parts of its file are held side by side.

They are looked for in the file as it stands, so that they are told together with the faults of single fields;
a field that is broken in itself is reported where it is read and passed over here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import WEEKDAYS, parse_weekdays

FURTHEST_DAYS = 20 * 366  # no day in the file lies further from day 0

# How long a month is depends on day 0: ages are tried with day 0 in every month of a common and of a leap year.
_DAYS_ZERO = tuple(date(year, month, 1) for year in (2027, 2028) for month in range(1, 13))


def faults_between_parts(raw: object) -> Iterator[str]:
    """One sentence a fault, each with its place in the file, for JSON of any shape."""
    clinics, families = _rows(raw, "clinics"), _rows(raw, "families")
    yield from _repeated(clinics, "key")
    yield from _repeated(families, "key")
    yield from _repeated([*clinics, *families], "phone", "caregiver.phone")
    for path, clinic in clinics:
        yield from _faults_of_clinic(path, clinic)
    known = {key for _, clinic in clinics if isinstance(key := clinic.get("key"), str)}
    for path, family in families:
        yield from _unknown(f"{path}.clinic", family.get("clinic"), "clinic", known)
        yield from _faults_of_days(path, family, _day(raw, "opened"))
        yield from _faults_of_age(path, family)
        yield from _faults_of_spells(path, family, raw)


def _at(part: object, path: str) -> Any:
    for step in path.split("."):
        part = part.get(step) if isinstance(part, dict) else None
    return part


def _rows(part: object, path: str) -> list[tuple[str, dict[str, Any]]]:
    rows = _at(part, path)
    found = enumerate(rows) if isinstance(rows, list) else ()
    return [(f"{path}.{place}", row) for place, row in found if isinstance(row, dict)]


def _day(part: object, path: str) -> int | None:
    day = _at(part, path)
    return day if type(day) is int and abs(day) <= FURTHEST_DAYS else None


def _repeated(rows: list[tuple[str, dict[str, Any]]], *names: str) -> Iterator[str]:
    first: dict[str, str] = {}
    for path, row in rows:
        for name in names:
            value = _at(row, name)
            if isinstance(value, str) and first.setdefault(value, f"{path}.{name}") != f"{path}.{name}":
                yield f"{path}.{name}: {value!r} stands at {first[value]} already: each needs its own"


def _unknown(path: str, key: object, what: str, known: Iterable[str]) -> Iterator[str]:
    if isinstance(key, str) and key not in known:
        yield f"{path}: there is no {what} {key!r} in this file; it has {', '.join(sorted(known)) or 'none'}"


def _faults_of_clinic(path: str, clinic: dict[str, Any]) -> Iterator[str]:
    for place, closure in _rows(clinic, "closed"):
        first, last = _day(closure, "day"), _day(closure, "to")
        if first is not None and last is not None and last < first:
            yield f"{path}.{place}.to: {last} is before the first closed day ({first})"
    try:
        both = parse_weekdays(clinic["clinic_days"]) & parse_weekdays(clinic["weekend"])
    except (AttributeError, KeyError, ValueError):
        return
    if both:
        words = ", ".join(WEEKDAYS[number] for number in sorted(both))
        yield f"{path}.clinic_days: {words} is in the weekend of this clinic ({clinic['weekend']})"


_NOT_BEFORE = (
    ("brace_start", "child.born"),
    ("joined", "brace_start"),
    ("relapse.day", "brace_start"),
    ("relapse.day", "joined"),  # a relapse is recorded by the program, so not before the program knew the child
    ("relapse.brace_start", "relapse.day"),
)


def _faults_of_days(path: str, family: dict[str, Any], opened: int | None) -> Iterator[str]:
    for name, earlier in _NOT_BEFORE:
        yield from _before(f"{path}.{name}", _day(family, name), earlier, _day(family, earlier))
    joined = _day(family, "joined")
    yield from _before(f"{path}.joined", joined, "opened", opened)
    for place, saying in _rows(family, "says"):
        yield from _before(f"{path}.{place}.day", _day(saying, "day"), "joined", joined)


def _before(path: str, day: int | None, name: str, earliest: int | None) -> Iterator[str]:
    if day is not None and earliest is not None and day < earliest:
        yield f"{path}: {day} is before {name} ({earliest})"


def _faults_of_age(path: str, family: dict[str, Any]) -> Iterator[str]:
    """Brace starts at ages for which the protocol has no course, whatever the day on which practice starts."""
    born, protocol_id = _day(family, "child.born"), family.get("protocol")
    if born is None or protocol_id not in protocol.shipped_ids():
        return
    for name in ("brace_start", "relapse.brace_start"):
        start = _day(family, name)
        if start is not None and start >= born and not _has_course(protocol.shipped(protocol_id), born, start):
            yield f"{path}.{name}: {protocol_id} has no course for a child corrected {start - born} days after birth"


def _has_course(rules: protocol.Protocol, born: int, start: int) -> bool:
    return all(
        any(variant.covers(zero + timedelta(days=born), zero + timedelta(days=start)) for variant in rules.variant)
        for zero in _DAYS_ZERO
    )


def _faults_of_spells(path: str, family: dict[str, Any], raw: object) -> Iterator[str]:
    spells = _rows(family, "behaves")
    days = [(f"{path}.{place}.from", _day(spell, "from")) for place, spell in spells]
    joined = _day(family, "joined")
    if days and days[0][1] is not None and joined is not None and days[0][1] > joined:
        yield f"{days[0][0]}: {days[0][1]} is after joined ({joined}): say how the family behaves from its first day"
    for (_, before), (place, day) in pairwise(days):
        if before is not None and day is not None and day <= before:
            yield f"{place}: {day} does not come after the spell before it ({before})"
    behaviours, phrases = (
        part if isinstance(part := _at(raw, name), dict) else {} for name in ("behaviours", "phrases")
    )
    language = _at(family, "caregiver.language")
    for place, spell in spells:
        key = spell.get("as")
        yield from _unknown(f"{path}.{place}.as", key, "behaviour", behaviours)
        if isinstance(language, str) and language not in phrases and _at(behaviours, str(key) + ".words") is True:
            yield f"{path}.{place}.as: {key!r} answers in words, and 'phrases' has none in {language!r}"
