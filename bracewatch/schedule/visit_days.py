"""When the visits of a course are due, and the windows round those days.

Timelines are made by the hundred thousand, so what a protocol's rules always come to is worked out once.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from bracewatch.schedule.protocol import Variant, VisitRule
from bracewatch.schedule.spans import row

MAX_VISITS = 200  # a row has fewer; no published list comes near: a file that asks for more is mistaken
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
        return Planned(rule, (rule.key,), Windows(rule), (), timedelta())
    keys = tuple(f"{rule.key}-{number}" for number in range(1, MAX_VISITS))
    later = tuple(n for n, other in enumerate(variant.visit) if n > place and other.every is None)
    # Half an interval: two visits a week apart help nobody.
    return Planned(rule, keys, Windows(rule), later, timedelta(round(rule.every.about_days / 2)))


def due_days(variant: Variant, born: date, brace_start: date) -> list[tuple[Planned, list[date]]]:
    """Each rule of a variant with its due days. Those up to the brace start are among them: no visit is held on
    them, but they have their number.

    Rows count on, in months from the brace start, from the visit before them, or from an age.
    """
    found = []
    single = [_single(rule, born, brace_start) for rule in variant.visit]
    counted = 0, 0  # months and days from the brace start to the visit before
    for planned, day in zip(plan_of(variant), single, strict=True):
        rule, _, _, later, apart = planned
        every = rule.every
        if day is not None:
            days = [day]
            counted = (rule.after.months, rule.after.days) if rule.after is not None else counted
        elif every is not None:
            stop = rule.until_age.after(born) if rule.until_age else rule.until.after(brace_start)  # type: ignore[union-attr]
            for place in later:
                stop = min(stop, single[place] - apart)  # type: ignore[operator]
            if rule.from_age is not None:
                days = row(born, (rule.from_age.months, rule.from_age.days), every, stop, MAX_VISITS - 1)
            else:
                days = row(brace_start, counted, every, stop, MAX_VISITS - 1)
                counted = counted[0] + len(days) * every.months, counted[1] + len(days) * every.days
        found.append((planned, days))
    return found


def _single(rule: VisitRule, born: date, brace_start: date) -> date | None:
    """The due day of a single visit; None for a row."""
    if rule.after is not None:
        return rule.after.after(brace_start)
    return None if rule.at_age is None else rule.at_age.after(born)
