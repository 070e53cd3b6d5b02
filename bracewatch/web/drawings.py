"""The two pictures of the family page, as places in per cent for the SVG templates."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from bracewatch.review import Case
from bracewatch.review.flags.low_wear import Weighed
from bracewatch.schedule.spans import add_months
from bracewatch.schedule.timeline import PAUSE, Phase
from bracewatch.wear.reports import NIGHTS_ASKED, WearKind, WearReport, last_word
from bracewatch.web.course import VisitLine, VisitState
from bracewatch.web.words import hours

EDGE = 3.5  # per cent left free at both ends, so that a mark at an end is whole
WEAR_DAYS = 56
WIDE_BAND = 45.0  # a band at least so wide, in per cent, has room for its own name
LABEL_APART_DAYS = 6


@dataclass(frozen=True, slots=True)
class Scale:
    """Days laid out from left to right over 0 to 100 per cent."""

    first: date
    last: date

    def at(self, day: date) -> float:
        """Where a day lies, in per cent, held inside the picture."""
        share = (day - self.first).days / max((self.last - self.first).days, 1)
        return round(EDGE + (100 - 2 * EDGE) * min(max(share, 0.0), 1.0), 2)


@dataclass(frozen=True, slots=True)
class Band:
    """A phase: its row from the top, where it lies, and where its name is written ("start", "end")."""

    row: int
    x: float
    width: float
    label: str
    label_x: float
    anchor: str


@dataclass(frozen=True, slots=True)
class Mark:
    x: float
    state: VisitState


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    label: str


AFTER_THE_END = timedelta(days=60)


@dataclass(frozen=True, slots=True)
class TimelinePicture:
    bands: tuple[Band, ...]
    marks: tuple[Mark, ...]
    birthdays: tuple[Tick, ...]
    today: float | None  # None when today lies outside


def draw_timeline(case: Case, lines: Sequence[VisitLine], born: date, today: date) -> TimelinePicture:
    """The whole course: a band a phase, a mark a visit, birthdays, today.

    The years of follow-up after bracing would squeeze the course to a corner: the picture ends with the course,
    and goes on past it only as far as what has happened.
    """
    timeline = case.timeline
    start = timeline.phases[0].start
    around_the_end = timeline.ends_on + AFTER_THE_END
    lines = [line for line in lines if line.visit.kept is not None or line.day <= max(around_the_end, today)]
    last = max([timeline.ends_on, *(line.day for line in lines)])
    scale = Scale(start, last)
    bands = tuple(
        _band(row, scale.at(phase.start), scale.at(phase.end), _band_label(phase))
        for row, phase in enumerate(timeline.phases)
    )
    years = ((year, add_months(born, 12 * year)) for year in range(1, 19))
    birthdays = tuple(Tick(scale.at(day), f"{year} y") for year, day in years if start < day <= last)
    marks = tuple(Mark(scale.at(line.day), line.state) for line in lines)
    return TimelinePicture(bands, marks, birthdays, scale.at(today) if start <= today <= last else None)


def _band_label(phase: Phase) -> str:
    if phase.key == PAUSE:
        return phase.name
    amount = hours(phase.hours_low, phase.hours_high)
    return phase.name if amount in phase.name else f"{phase.name}: {amount}"


def _band(row: int, x: float, end: float, label: str) -> Band:
    width = round(max(end - x, 0.4), 2)
    if width >= WIDE_BAND:
        return Band(row, x, width, label, x, "start")
    if end <= 50:
        return Band(row, x, width, label, end, "start")
    return Band(row, x, width, label, x, "end")


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days next to each other of which nothing is known."""

    x: float
    width: float


@dataclass(frozen=True, slots=True)
class WearMark:
    """A report: from `x` over `width` per cent; `low` and `high` are shares of the prescribed, 0 to 1."""

    x: float
    width: float
    low: float
    high: float
    under: bool  # under the share at which staff are told
    label: str


@dataclass(frozen=True, slots=True)
class WearPicture:
    marks: tuple[WearMark, ...]
    unknown: tuple[Stretch, ...]
    weeks: tuple[Tick, ...]
    alarm: float  # the share under which reported wear counts as low
    known_days: int
    days: int


def recent_wear(case: Case, today: date) -> list[Weighed]:
    """The last word of each day of the last eight weeks beside what was prescribed, oldest first."""
    oldest = today - timedelta(days=WEAR_DAYS)
    return [
        Weighed(report, phase, report.share(phase.hours_low))
        for report in last_word(case.reports)
        if oldest <= report.day < today
        and (phase := case.timeline.in_force(report.day)) is not None
        and phase.key != PAUSE
    ]


def draw_wear(case: Case, weighed: Sequence[Weighed], today: date) -> WearPicture | None:
    """The last eight weeks up to yesterday, or as many days as there were; None before the first full day."""
    first = max(today - timedelta(days=WEAR_DAYS), case.timeline.phases[0].start)
    days = (today - first).days
    if days < 1:
        return None
    alarm = case.protocol.thresholds.low_wear_share
    day_width = 100 / days
    known = {day for item in weighed for day in covered(item) if first <= day < today}
    marks = tuple(_wear_marks(weighed, first, day_width, alarm))
    unknown = tuple(
        Stretch(round(start * day_width, 2), round(length * day_width, 2))
        for start, length in _runs([first + timedelta(days=n) not in known for n in range(days)])
    )
    weeks = tuple(
        Tick(round(ahead * day_width, 2), f"{day.day} {day:%b}")
        for ahead in range(0, days, 14 if days > 21 else 7)
        for day in [first + timedelta(days=ahead)]
    )
    return WearPicture(marks, unknown, weeks, alarm, len(known), days)


def covered(item: Weighed) -> list[date]:
    """The days a report speaks of: one, or the seven that end with it."""
    length = NIGHTS_ASKED if item.report.kind is WearKind.NIGHTS else 1
    return [item.report.day - timedelta(days=back) for back in reversed(range(length))]


def _wear_marks(weighed: Sequence[Weighed], first: date, day_width: float, alarm: float) -> Iterator[WearMark]:
    labelled: date | None = None
    for item in weighed:
        report, days = item.report, [day for day in covered(item) if day >= first]
        if not days:
            continue
        apart = labelled is None or (report.day - labelled).days >= LABEL_APART_DAYS
        labelled = report.day if apart else labelled
        most = NIGHTS_ASKED if report.kind is WearKind.NIGHTS else item.phase.hours_low
        yield WearMark(
            x=round((days[0] - first).days * day_width, 2),
            width=round(len(days) * day_width, 2),
            low=item.share,
            high=min(report.high / most, 1.0),
            under=item.share < alarm,
            label=_figure(report) if apart else "",
        )


def _figure(report: WearReport) -> str:
    """The figure over a mark, as in "21" hours or "5/7" nights."""
    return f"{report.low:g}/{NIGHTS_ASKED}" if report.kind is WearKind.NIGHTS else f"{report.low:g}"


def _runs(flags: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """Start and length of each run of True."""
    start: int | None = None
    for place, flag in enumerate([*flags, False]):
        if flag and start is None:
            start = place
        elif not flag and start is not None:
            yield start, place - start
            start = None
