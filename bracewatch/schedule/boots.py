"""Boots and bar: the size a foot needs, when the next half size is due, how many boots each clinic will need.

Sizes are European. Each foot has its own size and its own dates: in one-sided clubfoot the affected foot is often
the smaller one, and both boots are worn. Boots are therefore counted singly, left and right apart; where boots only
come in pairs, the larger of the two counts is the number of pairs.

Sources, with how each was seen:
    Gould N et al. Foot Ankle 1990;10(4):211-213: months to outgrow half a size, by age; growth in spurts. READ
    ISO/TS 19407: the Paris point of 6.67 mm, two thirds of a centimetre. READ
    Gupta S, Agarwal A. J Foot Ankle Surg (Asia Pac) 2021;8(3):118-125: bar as long as the shoulders are wide. READ
    Memon I et al. J Pak Med Assoc 2014;64(12 Suppl 2): 20 of 120 wore the brace irregularly as boots came late. READ
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Literal

from bracewatch.schedule.spans import Span, add_months

Side = Literal["left", "right"]

# Shortest foot of 800 newborns, preterm among them (Gavhane S et al. Int J Contemp Pediatr. READ), and a length no
# child of six reaches: 156 mm at three years (Cheng 1997. READ-2), 8.5 mm a year, four standard deviations. CALC
LENGTH_MM = (45.0, 220.0)
SIZES = (5.0, 38.0)  # 45 mm without allowance to 220 mm with 30 mm, and a little room at either end. CALC
ALLOWANCE_MM = (0.0, 30.0)
SHOULDER_CM = (10.0, 35.0)  # from a small newborn to a tall child of six. PRACTICE

SPURTS = (
    "Feet grow in spurts, so a boot may be outgrown before or after these dates (Gould 1990, READ). "
    "Measure both feet at every visit."
)
_STARTS_AT_ONE = "Published figures start at one year; a baby's foot grows faster."
_ENDS_AT_FIVE = "Published figures end at five years; the last of them goes on, which is early rather than late."
_OUTGROWN = (
    "By its length this foot needs a larger boot than it has. Look at the boot; if it fits, the allowance in the "
    "settings is not the one these boots are sized by."
)


def _within(what: str, value: float, limits: tuple[float, float], unit: str) -> None:
    low, high = limits
    if not low <= value <= high:
        raise ValueError(f"{what} {value:g} {unit} cannot be: give {low:g} to {high:g} {unit}")


@dataclass(frozen=True, slots=True)
class GrowthBand:
    """Up to, not including, an age: the shortest and longest time in which a foot outgrows half a size.

    The last band has no `until_age`.
    """

    until_age: Span | None
    shortest: Span
    longest: Span


# Gould 1990, READ. "Less than two months" has no lower end in print. One month is CALC: from 74 mm at birth to 156 mm
# at three years, less the growth of the two bands between, leaves half a size in 0.9 to 1.2 months before 15 months.
PUBLISHED_GROWTH = (
    GrowthBand(until_age=Span(months=15), shortest=Span(months=1), longest=Span(months=2)),
    GrowthBand(until_age=Span(months=24), shortest=Span(months=2), longest=Span(months=3)),
    GrowthBand(until_age=Span(months=36), shortest=Span(months=3), longest=Span(months=4)),
    GrowthBand(until_age=None, shortest=Span(months=4), longest=Span(months=4)),
)


EARLY_PROMPT = Span(days=28)  # PRACTICE: boots come late (Memon 2014), and see BootSettings


@dataclass(frozen=True, slots=True)
class BootSettings:
    """What a clinic may set. Raises ValueError, naming the setting, when one cannot be.

    `allowance_mm`: room in front of the toes that the size counts in; 0 where boots are sized by foot length.
    `early_prompt`: how long before the earliest due date staff hear of it.
    `time_share`: the share of the published time in which half a size is outgrown here. 1 takes the months as printed.
    The study was American, where half a size is a sixth of an inch (4.23 mm); half a European size is 3.33 mm,
    0.79 of that. The standard early prompt is longer than that difference for half a size at every age.
    """

    allowance_mm: float = 15.0
    early_prompt: Span = EARLY_PROMPT
    time_share: float = 1.0
    growth: tuple[GrowthBand, ...] = PUBLISHED_GROWTH

    def __post_init__(self) -> None:
        _within("allowance", self.allowance_mm, ALLOWANCE_MM, "mm")
        _within("share of the published time", self.time_share, (0.5, 2.0), "times")
        ages = [band.until_age.about_days if band.until_age else math.inf for band in self.growth]
        if not ages or ages[-1] != math.inf or ages != sorted(set(ages)):
            raise ValueError("growth bands: give rising ages, each once, and no 'until_age' in the last band only")
        for band in self.growth:
            if not 7 <= band.shortest.about_days <= band.longest.about_days:
                raise ValueError(f"growth bands: {band.shortest} to {band.longest} must rise, from a week (P7D) up")


STANDARD = BootSettings()


@dataclass(frozen=True, slots=True)
class Fitting:
    """One foot on the day it was last measured, and the boot it was given.

    `size` is European, in half sizes. Without `length_mm` the boot is taken to have been the right one that day.
    Raises ValueError for a size or length that cannot be.
    """

    measured_on: date
    size: float
    length_mm: float | None = None

    def __post_init__(self) -> None:
        _within("boot size", self.size, SIZES, "European")
        if self.size * 2 != int(self.size * 2):
            raise ValueError(f"boot size {self.size:g} is no half size: write it as in 18 or 18.5")
        if self.length_mm is not None:
            _within("foot length", self.length_mm, LENGTH_MM, "mm")


@dataclass(frozen=True, slots=True)
class SizeDue:
    """The next boot of one foot: its size and the days between which it will be needed.

    `prompt_on` lies the early prompt before `earliest`, never before the measurement. When the foot had already
    outgrown its boot, all three are the day of the measurement. `note` is for staff.
    """

    size: float
    prompt_on: date
    earliest: date
    latest: date
    outgrown: bool
    note: str


def european_size(length_mm: float, allowance_mm: float = STANDARD.allowance_mm) -> float:
    """The European size for a foot of that length: (mm + allowance) x 0.15, rounded up to half a size.

    Up, because a boot too short lets the toes curl over its edge; rounding up adds at most 3.3 mm. Length and
    allowance count to a tenth of a millimetre. Raises ValueError for a length no child in a brace has.
    Source: Paris point, ISO/TS 19407, READ; the 15 mm are common in shoes, READ, but a setting.
    """
    _within("foot length", length_mm, LENGTH_MM, "mm")
    _within("allowance", allowance_mm, ALLOWANCE_MM, "mm")
    tenths_mm = round(length_mm * 10) + round(allowance_mm * 10)
    return math.ceil(Fraction(tenths_mm * 3, 100)) / 2


def bar_length_cm(shoulder_width_cm: float) -> float:
    """The length of the bar in cm, heel centre to heel centre: as long as the shoulders are wide.

    Raises ValueError for a width no child in a brace has. Source: Gupta and Agarwal 2021, READ.
    """
    _within("shoulder width", shoulder_width_cm, SHOULDER_CM, "cm")
    return float(shoulder_width_cm)


def next_size_due(born: date, fitting: Fitting, settings: BootSettings = STANDARD) -> SizeDue:
    """When one foot will need its next half size.

    One half size of growth after the measurement, by the published months for the child's age, from band to band as
    the child grows older; each half size of room that the boot had on that day adds one more. Raises ValueError when
    the measurement is before birth.
    """
    ahead = _half_sizes_ahead(fitting, settings)
    due = _dates(born, fitting, 1, ahead, settings)
    outgrown = ahead < 0
    prompt_on = max(settings.early_prompt.before(due.earliest), fitting.measured_on)
    return SizeDue(
        size=fitting.size + max(1, -ahead) / 2,
        prompt_on=prompt_on,
        earliest=due.earliest,
        latest=due.latest,
        outgrown=outgrown,
        note=_note(born, fitting, due, outgrown),
    )


@dataclass(frozen=True, slots=True)
class ChildInBoots:
    """A child who wears the brace: where, and the last fitting of each foot (None: none is on record).

    `ends_on` is the first day without the brace, where it is known: no boots are counted for it or later.
    """

    clinic: str
    born: date
    left: Fitting | None
    right: Fitting | None
    ends_on: date | None = None


@dataclass(frozen=True, slots=True)
class Spread:
    """A number of single boots. low: all feet grow as slowly as published; high: as fast; expected: halfway."""

    low: int
    expected: int
    high: int


@dataclass(frozen=True, slots=True)
class SizeNeed:
    """Boots of one size and side that a clinic will need from today on. `high` holds for each size by itself:
    the highs of several sizes do not come true together."""

    clinic: str
    size: float
    side: Side
    in_3_months: Spread
    in_6_months: Spread


@dataclass(frozen=True, slots=True)
class ClinicFeet:
    """What a clinic's numbers rest on: feet counted, feet without a fitting on record (not counted), and feet
    measured so long ago that they may be two half sizes on: measure those before ordering."""

    clinic: str
    feet: int
    no_fitting: int
    measure_first: int


@dataclass(frozen=True, slots=True)
class Outlook:
    """Boots needed, by clinic, size and side, in that order; what the numbers rest on; a caution for the reader."""

    needs: tuple[SizeNeed, ...]
    clinics: tuple[ClinicFeet, ...]
    note: str = SPURTS


def boots_needed(children: Iterable[ChildInBoots], today: date, settings: BootSettings = STANDARD) -> Outlook:
    """How many single boots of each size each clinic needs by three and by six months from today.

    A boot counts when its size comes due by then, overdue ones included, and has not been outgrown by today. In each
    row low <= expected <= high, and three months <= six months. The order of the children does not matter. Raises
    ValueError for a measurement before birth or after today.
    """
    horizons = (add_months(today, 3), add_months(today, 6))
    counts: defaultdict[tuple[str, float, Side], list[int]] = defaultdict(lambda: [0] * 6)
    feet: defaultdict[str, list[int]] = defaultdict(lambda: [0] * 3)
    for child, side, fitting in _feet(children, today):
        tally = feet[child.clinic]
        if fitting is None:
            tally[1] += 1
            continue
        tally[0] += 1
        tally[2] += _dates(child.born, fitting, 2, _half_sizes_ahead(fitting, settings), settings).earliest <= today
        for size, needed in _needs(child, fitting, today, horizons, settings):
            row = counts[child.clinic, size, side]
            row[:] = (count + one for count, one in zip(row, needed, strict=True))
    needs = (SizeNeed(*key, Spread(*row[:3]), Spread(*row[3:])) for key, row in sorted(counts.items()) if row[5])
    return Outlook(tuple(needs), tuple(ClinicFeet(clinic, *tally) for clinic, tally in sorted(feet.items())))


def _feet(children: Iterable[ChildInBoots], today: date) -> Iterator[tuple[ChildInBoots, Side, Fitting | None]]:
    """Both feet of each child who still wears the brace."""
    for child in children:
        if child.ends_on is not None and child.ends_on <= today:
            continue
        for fitting in (child.left, child.right):
            if fitting is not None and fitting.measured_on > today:
                raise ValueError(f"foot measured on {fitting.measured_on}, after today ({today}): check the date")
        yield child, "left", child.left
        yield child, "right", child.right


@dataclass(frozen=True, slots=True)
class _Dates:
    earliest: date
    latest: date

    @property
    def middle(self) -> date:
        return self.earliest + (self.latest - self.earliest) // 2

    def slow_to_fast(self) -> tuple[date, date, date]:
        return self.latest, self.middle, self.earliest


def _needs(
    child: ChildInBoots, fitting: Fitting, today: date, horizons: tuple[date, date], settings: BootSettings
) -> Iterator[tuple[float, tuple[bool, ...]]]:
    """Each size that may be needed, with six answers: needed by each horizon, for slow, middle and fast growth."""
    ahead = _half_sizes_ahead(fitting, settings)
    ends_on = child.ends_on or date.max
    step = 1
    due = _dates(child.born, fitting, step, ahead, settings)
    while due.earliest <= horizons[-1]:
        following = _dates(child.born, fitting, step + 1, ahead, settings)
        # The lowest count takes a size only if it comes due even in slow growth and is not outgrown even in fast.
        pairs = tuple(zip(due.slow_to_fast(), reversed(following.slow_to_fast()), strict=True))
        yield (
            fitting.size + step / 2,
            tuple(start <= by and start < ends_on and today < end for by in horizons for start, end in pairs),
        )
        step, due = step + 1, following


def _half_sizes_ahead(fitting: Fitting, settings: BootSettings) -> int:
    """By how many half sizes the boot was larger than the foot needed; negative when it was too small."""
    if fitting.length_mm is None:
        return 0
    return round((fitting.size - european_size(fitting.length_mm, settings.allowance_mm)) * 2)


def _dates(born: date, fitting: Fitting, step: int, ahead: int, settings: BootSettings) -> _Dates:
    """When the size `step` half sizes above the boot comes due."""
    if fitting.measured_on < born:
        raise ValueError(f"foot measured on {fitting.measured_on}, before birth ({born}): check both dates")
    growth = max(step + ahead, 0) * Fraction(str(settings.time_share))
    shortest = [(band.until_age, band.shortest) for band in settings.growth]
    longest = [(band.until_age, band.longest) for band in settings.growth]
    return _Dates(
        earliest=_day_when_grown(born, fitting.measured_on, growth, shortest),
        latest=_day_when_grown(born, fitting.measured_on, growth, longest),
    )


def _day_when_grown(born: date, start: date, growth: Fraction, paces: Iterable[tuple[Span | None, Span]]) -> date:
    """The day on which a foot has grown that many half sizes since `start`, at each band's pace while it lasts."""
    here = start
    for until_age, pace in paces:
        until = until_age.after(born) if until_age else date.max
        if until <= here:
            continue
        day = _after(here, pace, growth)
        if day <= until:
            return day
        growth -= _grown(here, until, pace)
        here = until
    raise AssertionError("the last growth band has no end")  # BootSettings refuses any other


def _after(anchor: date, pace: Span, growth: Fraction) -> date:
    """Whole half sizes are counted from the anchor in calendar months, the rest as a share of the next, in days."""
    whole = int(growth)
    first, following = _times(pace, whole).after(anchor), _times(pace, whole + 1).after(anchor)
    return first + timedelta(days=int((following - first).days * (growth - whole)))


def _grown(anchor: date, until: date, pace: Span) -> Fraction:
    """Half sizes grown from `anchor` to `until`."""
    whole = 0
    while _times(pace, whole + 1).after(anchor) <= until:
        whole += 1
    first, following = _times(pace, whole).after(anchor), _times(pace, whole + 1).after(anchor)
    return whole + Fraction((until - first).days, (following - first).days)


def _times(span: Span, number: int) -> Span:
    return Span(span.months * number, span.days * number)


def _note(born: date, fitting: Fitting, due: _Dates, outgrown: bool) -> str:
    parts = [
        _OUTGROWN if outgrown else SPURTS,
        _STARTS_AT_ONE if fitting.measured_on < add_months(born, 12) else "",
        _ENDS_AT_FIVE if due.latest > add_months(born, 60) else "",
    ]
    return " ".join(part for part in parts if part)
