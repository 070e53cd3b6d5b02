"""A course drawn in plain text, for any screen: phases as bars over a month axis, visits as marks."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from bracewatch.schedule.spans import add_months
from bracewatch.schedule.timeline import Phase, Timeline, Visit

NARROWEST = 50  # columns: room for a name, hours and a year
BARS = {"hours": "#", "nights": "=", "nothing": "."}  # by what the family is asked in that phase
GOES_ON = ">"
UNDECIDED = "?"
PLANNED, KEPT, CANCELLED, NO_DAY = "o", "*", "x", "!"
_WORDS = {
    "#": "day and night",
    "=": "sleep",
    ".": "no brace",
    UNDECIDED: "until the clinic decides",
    GOES_ON: "goes on",
    PLANNED: "visit",
    KEPT: "visit kept",
    CANCELLED: "visit cancelled",
    NO_DAY: "visit without an open day",
}
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_STEPS = (1, 2, 3, 4, 6, 12)  # months between two labels; each divides a year


def day_of(visit: Visit) -> date | None:
    """The day the child came or, before that, the day chosen; None when there is neither."""
    return visit.kept or visit.on


def draw(timeline: Timeline, width: int = 80, until: date | None = None) -> tuple[str, ...]:
    """The course as lines of at most `width` columns, from the brace start to the end of bracing or `until`.

    Each phase has a bar in a row of its own (its pieces share one when a pause cuts it), each visit a mark; marks
    that would fall on each other stand below each other. What the marks mean is said below, and how many visits
    lie after the last day drawn. Empty when the course begins after `until`.
    Raises ValueError under NARROWEST columns.
    """
    if width < NARROWEST:
        raise ValueError(f"a picture needs {NARROWEST} columns, not {width}")
    first, last = timeline.phases[0].start, _last_day(timeline, until)
    if last < first:
        return ()
    margin = _margin(timeline.phases, width)
    scale = _Scale(first, last, width - margin)
    rows = [
        (_label(pieces[0], margin), _bar(pieces, scale, timeline.ends_on)) for pieces in _rows(timeline.phases, scale)
    ]
    shown = [visit for visit in timeline.visits if _mark_day(visit) <= last]
    rows += [("" if number else "Visits", marks) for number, marks in enumerate(_marks(shown, scale))]
    used = {mark for _, cells in rows for mark in cells}
    axis = zip(("", "", f"from {first}"), _axis(scale), strict=True)
    lines = [left.ljust(margin) + right for left, right in (*axis, *rows)]
    lines += _wrapped([f"{mark} {words}" for mark, words in _WORDS.items() if mark in used], width)
    return tuple(line.rstrip() for line in [*lines, *_not_drawn(timeline, last, until, width)])


@dataclass(frozen=True, slots=True)
class _Scale:
    first: date
    last: date  # the last day drawn
    columns: int

    def column(self, day: date) -> int:
        """The column of a day; days before the first and after the last are drawn at the edge."""
        days = (self.last - self.first).days + 1
        return min(max((day - self.first).days, 0) * self.columns // days, self.columns - 1)


def _last_day(timeline: Timeline, until: date | None) -> date:
    """The end of bracing or the last visit that belongs to it, whichever is later; `until` when that is earlier."""
    days = [_mark_day(visit) for visit in timeline.visits if visit.due <= timeline.ends_on]
    last = max([timeline.ends_on, *days])
    return last if until is None else min(last, until)


def _mark_day(visit: Visit) -> date:
    return day_of(visit) or visit.due


def _margin(phases: Iterable[Phase], width: int) -> int:
    """Columns for the labels: room for the longest, but never more than two fifths of the width."""
    longest = max(len(phase.name) + len(_hours(phase)) for phase in phases)
    return min(max(longest + 3, len("from 2026-09-01  ")), width * 2 // 5)


def _hours(phase: Phase) -> str:
    low, high = phase.hours_low, phase.hours_high
    return f"{low:g} h" if low == high else f"{low:g}-{high:g} h"


def _label(phase: Phase, width: int) -> str:
    """The name on the left, cut when it is too long, the hours on the right, then two columns of air."""
    hours = _hours(phase)
    room = width - len(hours) - 3
    name = phase.name if len(phase.name) <= room else f"{phase.name[: room - 2]}.."
    return f"{name.ljust(room)} {hours}  "


def _rows(phases: Iterable[Phase], scale: _Scale) -> list[list[Phase]]:
    rows: dict[tuple[str, str, float, float], list[Phase]] = defaultdict(list)
    for phase in phases:
        if phase.start <= scale.last:
            rows[phase.key, phase.name, phase.hours_low, phase.hours_high].append(phase)
    return list(rows.values())


def _bar(pieces: list[Phase], scale: _Scale, ends_on: date) -> str:
    cells = [" "] * scale.columns
    for phase in pieces:
        begin, end = scale.column(phase.start), scale.column(phase.end - timedelta(days=1))
        cells[begin : end + 1] = BARS[phase.asks] * (end + 1 - begin)
    final = pieces[-1]
    if final.end > scale.last + timedelta(days=1):
        cells[-1] = GOES_ON
    elif not final.gate_open and final.end < ends_on:
        cells[min(scale.column(final.end - timedelta(days=1)) + 1, scale.columns - 1)] = UNDECIDED
    return "".join(cells)


def _marks(visits: Iterable[Visit], scale: _Scale) -> list[str]:
    """Rows of marks, as many as the fullest column needs."""
    columns: dict[int, list[str]] = defaultdict(list)
    for visit in visits:
        columns[scale.column(_mark_day(visit))].append(_mark(visit))
    height = max((len(marks) for marks in columns.values()), default=0)
    return [
        "".join(columns[column][row] if row < len(columns.get(column, ())) else " " for column in range(scale.columns))
        for row in range(height)
    ]


def _mark(visit: Visit) -> str:
    if visit.kept is not None:
        return KEPT
    if visit.cancelled:
        return CANCELLED
    return NO_DAY if visit.on is None else PLANNED


def _axis(scale: _Scale) -> Iterator[str]:
    """Years, months, and a rule with a tick at the first day of every month that is named."""
    months = (scale.last.year - scale.first.year) * 12 + scale.last.month - scale.first.month + 1
    room = scale.columns / months
    step = next((step for step in _STEPS if step * room >= 4), _STEPS[-1])
    begins = [add_months(scale.first.replace(day=1), number) for number in range(months)]
    ticks = [
        (scale.column(day), day) for day in begins if (day.month - 1) % step == 0 and scale.first <= day <= scale.last
    ]
    januaries = [(column, str(day.year)) for column, day in ticks if day.month == 1]
    yield _written([*januaries, (0, str(scale.first.year))], scale.columns)
    yield _written([(column, _MONTHS[day.month - 1]) for column, day in ticks], scale.columns)
    named = {column for column, _ in ticks}
    yield "".join("+" if column in named else "-" for column in range(scale.columns))


def _written(labels: Iterable[tuple[int, str]], columns: int) -> str:
    """One line with each label at its column; one that would touch another, or the edge, is left out."""
    cells = [" "] * columns
    for column, text in labels:
        around = cells[max(column - 1, 0) : column + len(text) + 1]
        if column + len(text) <= columns and not "".join(around).strip():
            cells[column : column + len(text)] = text
    return "".join(cells)


def _wrapped(parts: Iterable[str], width: int) -> list[str]:
    lines = [""]
    for part in parts:
        joined = f"{lines[-1]}   {part}" if lines[-1] else part
        if len(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(part)
    return lines


def _not_drawn(timeline: Timeline, last: date, until: date | None, width: int) -> list[str]:
    """How many visits lie after the picture, those left out that lie after `until`."""
    days = [day for visit in timeline.visits if last < (day := _mark_day(visit)) <= (until or date.max)]
    if not days:
        return []
    words = (
        f"1 visit after bracing, on {days[0]}"
        if len(days) == 1
        else f"{len(days)} visits after bracing, {min(days)} to {max(days)}"
    )
    return textwrap.wrap(f"{words}, not drawn", width)
