"""What `plan` can add to a timeline: the next boots and the bar, and when texts go out where the family lives."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from bracewatch.cli.given import Given, a_number, iso_date
from bracewatch.schedule.boots import Fitting, SizeDue, bar_length_cm, european_size, next_size_due
from bracewatch.schedule.contact_days import check_in_rounds, reminder_days
from bracewatch.schedule.local_time import instant, local, zone
from bracewatch.schedule.protocol import Contact
from bracewatch.schedule.timeline import Timeline

FIRST_TEXTS = 8
CHECK_IN, REMINDER = "check-in", "reminder"
_WORDS = {CHECK_IN: "how was the wear?", REMINDER: "a visit is near"}
NOTE_WIDTH = 80
EVENING = time(18)


@dataclass(frozen=True, slots=True)
class Boot:
    """A measured foot: its size now, and the next."""

    side: str
    fitting: Fitting
    due: SizeDue


def read_boots(given: Given, born: date | None, typed: tuple[str, ...]) -> list[Boot]:
    """The feet in texts such as left=86@2026-09-01 (millimetres, the day of measuring); faults go to `given`."""
    boots: list[Boot] = []
    for text in typed:
        try:
            side, fitting = _fitting(text)
            if side in (boot.side for boot in boots):
                raise ValueError(f"{side} is given twice: give the last measured length")
            if born is not None:
                boots.append(Boot(side, fitting, next_size_due(born, fitting)))
        except ValueError as error:
            given.faults.append(f"--foot-length: {error}")
    return boots


def _fitting(text: str) -> tuple[str, Fitting]:
    match = re.fullmatch(r"(left|right)=(\d{1,4}(?:\.\d+)?)@(.+)", text, re.ASCII)
    if match is None:
        raise ValueError(f"{text!r} is not read: write side, millimetres and day as in left=86@2026-09-01")
    length = float(match[2])
    return match[1], Fitting(iso_date(match[3]), european_size(length), length)


def boot_lines(boots: list[Boot], bar_cm: float | None) -> Iterator[str]:
    """The boots and the bar for people; nothing when nothing was measured."""
    if not boots and bar_cm is None:
        return
    yield "Boots and bar"
    for boot in boots:
        length = f"{boot.fitting.length_mm:g} mm on {boot.fitting.measured_on}"
        when = "now" if boot.due.outgrown else f"between {boot.due.earliest} and {boot.due.latest}"
        yield f"  {boot.side}: {length} is size {boot.fitting.size:g}; size {boot.due.size:g} is due {when}"
        yield f"    have it ready from {boot.due.prompt_on}"
    if boots:
        yield from textwrap.wrap(boots[0].due.note, NOTE_WIDTH, initial_indent="  ", subsequent_indent="  ")
    if bar_cm is not None:
        yield f"  bar: {bar_cm:g} cm from heel centre to heel centre, as wide as the shoulders"
    yield ""


def read_bar(given: Given, typed: str | None) -> float | None:
    """The bar for a shoulder width in centimetres; None when it was not given or cannot be."""
    return given.read("--shoulder-width", typed, _bar)


def _bar(text: str) -> float:
    return bar_length_cm(a_number(text, "centimetres", "write it as in 18 or 18.5"))


def boots_as_json(boots: list[Boot], bar_cm: float | None) -> dict[str, Any]:
    """The boots and the bar for programs: an empty list and null when nothing was measured."""
    return {
        "boots": [
            {
                "side": boot.side,
                "measured_on": boot.fitting.measured_on.isoformat(),
                "length_mm": boot.fitting.length_mm,
                "size": boot.fitting.size,
                "next_size": boot.due.size,
                "outgrown": boot.due.outgrown,
                "earliest": boot.due.earliest.isoformat(),
                "latest": boot.due.latest.isoformat(),
                "ready_from": boot.due.prompt_on.isoformat(),
                "note": boot.due.note,
            }
            for boot in boots
        ],
        "bar_cm": bar_cm,
    }


def read_contact_time(text: str) -> time:
    """An hour of the day at which texts may go out. Raises ValueError for another, or none."""
    match = re.fullmatch(r"(\d{2}):(\d{2})", text, re.ASCII)
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise ValueError(f"{text!r} is not a time of day: write it as in 18:00")
    at = time(int(match[1]), int(match[2]))
    if not time(8) <= at < time(21):
        raise ValueError(f"{text!r} is in the quiet hours: choose 08:00 to 20:59")
    return at


def read_zone(text: str) -> str:
    """An IANA zone. Raises ValueError for another name."""
    return zone(text).key


@dataclass(frozen=True, slots=True)
class Text:
    """When a family hears from the clinic (UTC), and of what: CHECK_IN, REMINDER or both."""

    at: datetime
    what: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Clocks:
    """Where the family lives (an IANA zone), and at what time of day texts go out there."""

    zone_name: str
    at: time


def texts_of(timeline: Timeline, contact: Contact, clocks: Clocks, until: date | None) -> list[Text]:
    """The texts of the course, as planned: more may come while reported wear is low."""
    asked = {day for turns in check_in_rounds(timeline, contact) for day in turns}
    reminded = set(reminder_days(timeline, contact))
    return [
        Text(
            instant(date.fromordinal(day), clocks.at, clocks.zone_name),
            tuple(what for what, days in ((CHECK_IN, asked), (REMINDER, reminded)) if day in days),
        )
        for day in sorted(asked | reminded)
        if until is None or day <= until.toordinal()
    ]


def texts_as_json(texts: list[Text] | None) -> list[dict[str, Any]] | None:
    """The texts for programs, in UTC; null when nobody said where the family lives."""
    if texts is None:
        return None
    return [{"at": f"{text.at:%Y-%m-%dT%H:%MZ}", "what": list(text.what)} for text in texts]


def text_lines(texts: list[Text], clocks: Clocks) -> Iterator[str]:
    """The first texts of the course on the family's clocks."""
    first = texts[:FIRST_TEXTS]
    yield (f"Texts, as planned, at {clocks.at:%H:%M} in {clocks.zone_name} (the first {len(first)} of {len(texts)})")
    for text in first:
        what = " and ".join(_WORDS[one] for one in text.what)
        yield f"  {local(text.at, clocks.zone_name):%a %Y-%m-%d %H:%M %z}, {text.at:%H:%M} UTC: {what}"
    yield ""
