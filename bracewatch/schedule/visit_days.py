"""When the visits of a course are due, and the windows round those days.

Timelines are made by the hundred thousand, so what a protocol's rules always come to is worked out once.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from bracewatch.schedule.protocol import Variant, VisitRule
from bracewatch.schedule.spans import row

MAX_VISITS = 200  # a row has fewer; no published list comes near: a file that asks for more is mistaken
MAX_ENDS = 20  # of one course: bracing that was lengthened more often shows the last of them
MAX_PLANS = 256  # kept at a time: a few kilobytes each, and their tables


class Windows(dict[date, tuple[date, date]]):
    """First and last day on which a visit counts, by its due day: a table that fills as it is asked."""

    def __init__(self, rule: VisitRule) -> None:
        super().__init__()
        self._rule = rule

    def __missing__(self, due: date) -> tuple[date, date]:
        window = self[due] = self._rule.opens.before(due), self._rule.closes.after(due)
        return window


class Planned(NamedTuple):
    """A rule for a visit, or for a row of them, and what it comes to for every child."""

    rule: VisitRule
    keys: tuple[str, ...]  # one for each visit
    windows: Windows
    later: tuple[int, ...]  # the places of the single visits behind a row
    apart: timedelta  # how long before the first of those a row stops


_plans: dict[int, tuple[Variant, tuple[Planned, ...]]] = {}  # by identity: a variant's own hash reads all of it


def plan_of(variant: Variant) -> tuple[Planned, ...]:
    """The visits of a variant, in the protocol's order."""
    kept = _plans.get(id(variant))
    if kept is None:
        if len(_plans) >= MAX_PLANS:
            _plans.clear()
        kept = _plans[id(variant)] = variant, tuple(_planned(variant, place) for place in range(len(variant.visit)))
    return kept[1]


def _planned(variant: Variant, place: int) -> Planned:
    rule = variant.visit[place]
    if rule.every is None:
        # Bracing that is lengthened at its end has more than one end.
        more = tuple(f"{rule.key}-{number}" for number in range(2, MAX_ENDS + 1)) if rule.at_end else ()
        return Planned(rule, (rule.key, *more), Windows(rule), (), timedelta())
    keys = tuple(f"{rule.key}-{number}" for number in range(1, MAX_VISITS))
    later = tuple(n for n, other in enumerate(variant.visit) if n > place and other.every is None)
    # Half an interval: two visits a week apart help nobody.
    return Planned(rule, keys, Windows(rule), later, timedelta(round(rule.every.about_days / 2)))


class Lengthened(NamedTuple):
    """An end of bracing that gave way to a later one."""

    end: date
    on: date  # the day the clinic decided
    lived_through: bool  # its visit had begun by then


def due_days(
    variant: Variant, born: date, brace_start: date, ends_on: date, lengthened: Sequence[Lengthened] = ()
) -> list[tuple[Planned, Sequence[str], Sequence[date]]]:
    """Each rule of a variant with the keys and due days of its visits.

    Those up to the brace start are among them: no visit is held on them, but they have their number.

    `ends_on` is the day on which bracing ends, `lengthened` the earlier ends, rising. Rows count on, in months from
    the brace start, from the visit before them, or from an age or the end of bracing.
    """
    found: list[tuple[Planned, Sequence[str], Sequence[date]]] = []
    ends = (*(one.end for one in lengthened if one.lived_through), ends_on)
    single = [_single(rule, born, brace_start, ends_on) for rule in variant.visit]
    counted = 0, 0  # months and days from the brace start to the visit before
    for planned, day in zip(plan_of(variant), single, strict=True):
        rule, _, _, later, apart = planned
        every = rule.every
        keys: Sequence[str] = planned.keys
        days: Sequence[date]
        if day is not None:
            days = ends[-MAX_ENDS:] if rule.at_end else (day,)
            counted = (rule.after.months, rule.after.days) if rule.after is not None else counted
        elif every is not None:
            stop = _stop(rule, born, brace_start, ends_on)
            for place in later:
                if (fixed := single[place]) is not None:
                    stop = min(stop, fixed - apart)
            if rule.from_age is not None:
                days = row(born, (rule.from_age.months, rule.from_age.days), every, stop, MAX_VISITS - 1)
            elif rule.from_end:
                days = row(ends_on, (0, 0), every, stop, MAX_VISITS - 1)
            else:
                days = row(brace_start, counted, every, stop, MAX_VISITS - 1)
                counted = counted[0] + len(days) * every.months, counted[1] + len(days) * every.days
            if lengthened and rule.until_end:
                keys, days = _gone_on(lengthened, apart, keys, days)
        found.append((planned, keys, days))
    return found


def _gone_on(
    lengthened: Sequence[Lengthened], apart: timedelta, keys: Sequence[str], days: Sequence[date]
) -> tuple[Sequence[str], Sequence[date]]:
    """A row that goes on up to a later end: no visit that was not planned while its day was ahead, none near an
    earlier end at which the child was seen. The others keep their keys."""

    def belongs(day: date) -> bool:
        return not any(
            earlier.end - apart < day <= earlier.on or (earlier.lived_through and abs(day - earlier.end) < apart)
            for earlier in lengthened
        )

    left = [(key, day) for key, day in zip(keys, days, strict=False) if belongs(day)]
    return [key for key, _ in left], [day for _, day in left]


def _stop(rule: VisitRule, born: date, brace_start: date, ends_on: date) -> date:
    """The last day that a row may reach."""
    if rule.until_age is not None:
        return rule.until_age.after(born)
    return ends_on if rule.until is None else rule.until.after(brace_start)


def _single(rule: VisitRule, born: date, brace_start: date, ends_on: date) -> date | None:
    """The due day of a single visit; None for a row."""
    if rule.after is not None:
        return rule.after.after(brace_start)
    if rule.at_end:
        return ends_on
    return None if rule.at_age is None else rule.at_age.after(born)
