"""What `plan` can add to a timeline: the next boots and the bar, and when texts go out where the family lives."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time

from bracewatch.cli.given import Given, iso_date
from bracewatch.schedule.boots import Fitting, SizeDue, bar_length_cm, european_size, next_size_due
from bracewatch.schedule.contact_days import check_in_rounds, reminder_days
from bracewatch.schedule.local_time import instant, local, zone
from bracewatch.schedule.protocol import Contact
from bracewatch.schedule.timeline import Timeline

FIRST_TEXTS = 8
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
    match = re.fullmatch(r"(left|right)=(\d+(?:\.\d+)?)@(.+)", text, re.ASCII)
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
    return given.read("--shoulder-width", typed, lambda text: bar_length_cm(float(text)))


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


def text_lines(timeline: Timeline, contact: Contact, zone_name: str, at: time, until: date | None) -> Iterator[str]:
    """The first texts of the course on the family's clocks, as planned: more may come while reported wear is low."""
    asked = {day: "how was the wear?" for turns in check_in_rounds(timeline, contact) for day in turns}
    reminded = dict.fromkeys(reminder_days(timeline, contact), "a visit is near")
    days = sorted({**asked, **reminded})
    if until is not None:
        days = [day for day in days if day <= until.toordinal()]
    yield f"Texts, as planned, at {at:%H:%M} in {zone_name} (the first {min(FIRST_TEXTS, len(days))} of {len(days)})"
    for day in days[:FIRST_TEXTS]:
        moment = instant(date.fromordinal(day), at, zone_name)
        what = " and ".join(words[day] for words in (asked, reminded) if day in words)
        yield f"  {local(moment, zone_name):%a %Y-%m-%d %H:%M %z}, {moment:%H:%M} UTC: {what}"
    yield ""
