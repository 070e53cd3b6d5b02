"""The counts in a reply: "about 20", "12-14 hours", "5 of 7", "two and a half". Nothing is decided here."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from bracewatch.messages.replies.marks import BREAK, NUMBER, Mark

_CLOCK_TOO = "hours_or_clock"
_UNITS = ("hours", _CLOCK_TOO, "nights", "days", "other", "clock")
# A wider range is as likely two clock times ("8-20"), and says too little to keep. [practice]
WIDEST_RANGE = 6.0
WIDEST_EITHER_OR = 2.0


@dataclass(frozen=True, slots=True)
class Amount:
    """One count: `low` to `high` (equal for one number) in `unit` ("" when the reply names none).

    `whole` is the 7 of "5 of 7". `day_part`: its unit word also names a part of the day ("usiku 6").
    `doubtful`: written so that it could mean something else. `start` and `end` are mark indexes.
    """

    low: float
    high: float
    unit: str
    start: int
    end: int
    whole: float | None = None
    loose: bool = False
    about: bool = False
    doubtful: bool = False
    day_part: bool = False


def find_amounts(marks: Sequence[Mark], *, unit_first: bool) -> tuple[Amount, ...]:
    """Every count in the reply, in reading order. `unit_first`: the language says "hours 20"."""
    return tuple(_amounts(marks, unit_first))


def _amounts(marks: Sequence[Mark], unit_first: bool) -> Iterator[Amount]:
    at = floor = 0
    while at < len(marks):
        amount = _amount_at(marks, at, floor, unit_first)
        if amount is None:
            at += 1
            continue
        yield amount
        at = floor = amount.end


def _amount_at(marks: Sequence[Mark], at: int, floor: int, unit_first: bool) -> Amount | None:
    first = _number_at(marks, at)
    if first is None:
        return None
    ahead = _unit_ahead(marks, at, floor)
    if ahead is not None and unit_first:
        amount = replace(first, unit=_unit(marks[ahead]), day_part=marks[ahead].has("units.daypart"))
        amount = _joined(marks, amount, takes_unit=False)
        return replace(amount, about=amount.about or _is_about(marks, at))
    amount = _joined(marks, _with_unit(marks, first), takes_unit=True)
    if not amount.unit and ahead is not None:
        amount = replace(amount, unit=_unit(marks[ahead]), day_part=marks[ahead].has("units.daypart"))
    is_doubtful = amount.doubtful or _is_time_of_day(marks, amount)
    return replace(amount, about=amount.about or _is_about(marks, at), doubtful=is_doubtful)


def _number_at(marks: Sequence[Mark], at: int) -> Amount | None:
    """A number with its fraction: "two and a half", and the "half more" that some languages put first."""
    if at >= len(marks):
        return None
    mark, end, value = marks[at], at + 1, marks[at].value
    if mark.has("fractions.before") and end < len(marks) and marks[end].has(NUMBER, "numbers."):
        more, unit = value or 0.0, _number_at(marks, end)
        return unit and replace(unit, low=unit.low + more, high=unit.high + more, start=at)
    if value is None or mark.has("fractions."):
        return None
    if mark.has("numbers.by_unit", "numbers.only") and not _is_a_count_here(marks, at):
        return None
    unit_name = next((name for name in ("hours", "nights") if mark.has(f"amounts.{name}")), "")
    if end < len(marks) and marks[end].has("fractions.after") and not unit_name:
        value, end = value + (marks[end].value or 0.0), end + 1
    return Amount(value, value, unit_name, at, end, loose=mark.loose)


def _is_a_count_here(marks: Sequence[Mark], at: int) -> bool:
    """ "Una hora" counts and "una" alone does; "una bota" does not, nor does the "nada" of "no le duele nada"."""
    if marks[at].has("numbers.by_unit") and at + 1 < len(marks) and marks[at + 1].has("units."):
        return True
    rest = (mark for i, mark in enumerate(marks) if i != at)
    return marks[at].has("numbers.only") and all(m.has("talk.courtesy", "talk.when", BREAK) for m in rest)


def _with_unit(marks: Sequence[Mark], amount: Amount) -> Amount:
    """The amount with the unit word after it, if one follows."""
    at = amount.end
    while at < len(marks) and marks[at].has("about.about"):
        at += 1
    if amount.unit or at >= len(marks) or not marks[at].has("units."):
        return amount
    amount = replace(amount, unit=_unit(marks[at]), day_part=marks[at].has("units.daypart"), end=at + 1)
    amount = replace(amount, loose=amount.loose or marks[at].loose)
    if at + 1 < len(marks) and marks[at + 1].has("fractions.after"):  # "two hours and a half"
        more = marks[at + 1].value or 0.0
        return replace(amount, low=amount.low + more, high=amount.high + more, end=at + 2)
    return amount


def _joined(marks: Sequence[Mark], first: Amount, *, takes_unit: bool) -> Amount:
    """`first` with the second number of a range or of "5 of 7", or `first` itself."""
    at = first.end
    if at + 1 >= len(marks) or not marks[at].has("range."):
        return first
    second = _number_at(marks, at + 1)
    if second is None:
        return first
    second = _with_unit(marks, second) if takes_unit else second
    if first.unit and second.unit and first.unit != second.unit:
        return first
    both = replace(
        second,
        unit=first.unit or second.unit,
        start=first.start,
        loose=first.loose or second.loose,
        day_part=first.day_part or second.day_part,
    )
    return _linked(marks, marks[at], first, second, both)


def _linked(marks: Sequence[Mark], link: Mark, first: Amount, second: Amount, both: Amount) -> Amount:
    led_by_between = _is_led_by(marks, first, "range.between")
    if link.has("range.of_turned"):
        return _share(both, part=second.low, whole=first.low)
    if link.has("range.of"):
        return _share(both, part=first.low, whole=second.low)
    if link.has("range.to") or (led_by_between and link.has("range.and")):
        return _range(both, first.low, second.low, WIDEST_RANGE, _may_be_clock(marks, first, second))
    if link.has("range.or"):
        return _range(both, first.low, second.low, WIDEST_EITHER_OR, False)
    return first


def _may_be_clock(marks: Sequence[Mark], first: Amount, second: Amount) -> bool:
    """ "From 8 to 14", "8h à 14h": more likely two times of the day than a number of hours."""
    if first.unit == second.unit == _CLOCK_TOO:
        return True
    return _is_led_by(marks, first, "range.from") and (first.unit or second.unit) not in ("hours", "nights")


def _is_time_of_day(marks: Sequence[Mark], amount: Amount) -> bool:
    """ "À 20h", "from 20": no count, but "a pas porté" (has not worn) is nought."""
    may_be = amount.unit == _CLOCK_TOO or (not amount.unit and amount.high > 0)
    return may_be and _is_led_by(marks, amount, "range.from")


def _is_led_by(marks: Sequence[Mark], amount: Amount, sense: str) -> bool:
    return amount.start > 0 and marks[amount.start - 1].has(sense)


def _share(both: Amount, part: float, whole: float) -> Amount:
    return replace(both, low=part, high=part, whole=whole, doubtful=part > whole)


def _range(both: Amount, low: float, high: float, widest: float, may_be_clock: bool) -> Amount:
    doubtful = may_be_clock or not low < high <= low + widest
    return replace(both, low=low, high=high, doubtful=doubtful, about=True)


def _unit_ahead(marks: Sequence[Mark], at: int, floor: int) -> int | None:
    """The index of the unit word before the number at `at` ("hours: 20"), or None."""
    at -= 1
    while at >= floor and marks[at].has("about.about"):
        at -= 1
    if at > floor and marks[at].senses == {BREAK}:
        at -= 1
    return at if at >= floor and marks[at].has("units.") else None


def _is_about(marks: Sequence[Mark], at: int) -> bool:
    return (at > 0 and marks[at - 1].has("about.about")) or (at + 1 < len(marks) and marks[at + 1].has("about.about"))


def _unit(mark: Mark) -> str:
    return next((unit for unit in _UNITS if mark.has(f"units.{unit}")), "other")
