"""Two protocols side by side, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from typing import Any

from bracewatch.schedule.comparing import Comparison, Pair, RuleChange
from bracewatch.schedule.pictures import day_of
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Phase, Visit

NAME, CELL = 32, 22  # columns: name, A and B stay within 80
_FIELDS = {  # what the two cells of a row do not show by themselves
    "asks": "what families are asked",
    "check_in_days": "how often families are asked",
    "gate": "decision",
    "decides": "decision",
}


def lines(before: Protocol, after: Protocol, comparison: Comparison, rules: Sequence[RuleChange]) -> Iterator[str]:
    """The comparison for people; a mark stands before every row that differs."""
    yield f"  A: {before.name} ({before.id}, version {before.version}; {before.status})"
    yield f"  B: {after.name} ({after.id}, version {after.version}; {after.status})"
    yield ""
    if comparison.same and not rules:
        yield "Nothing differs."
        return
    yield "~ differs   - only in A   + only in B"
    yield ""
    yield _row(" ", "Phases", "A", "B")
    for phases in comparison.phases:
        yield from _phase(phases)
    yield ""
    yield _row(" ", "Visits", "A", "B")
    for visits in comparison.visits:
        yield from _visit(visits)
    yield ""
    yield _end(comparison)
    yield from _rules(rules)


def as_json(comparison: Comparison) -> dict[str, Any]:
    """The comparison for programs: the keys of what was added, dropped and changed, and both ends."""
    return {
        "phases": _keys(comparison.phases),
        "visits": _keys(comparison.visits),
        "ends_before": comparison.ends_before.isoformat(),
        "ends_after": comparison.ends_after.isoformat(),
    }


def _keys(pairs: Sequence[Pair[Phase]] | Sequence[Pair[Visit]]) -> dict[str, list[str]]:
    """A phase that a pause or a move only cuts in more pieces was changed, not added."""
    before = dict.fromkeys(pair.before.key for pair in pairs if pair.before is not None)
    after = dict.fromkeys(pair.after.key for pair in pairs if pair.after is not None)
    differing = {part.key for pair in pairs if not pair.same for part in (pair.before, pair.after) if part is not None}
    return {
        "added": [key for key in after if key not in before],
        "dropped": [key for key in before if key not in after],
        "changed": [key for key in after if key in before and key in differing],
    }


def _phase(pair: Pair[Phase]) -> Iterator[str]:
    cells = ["" if phase is None else f"{_hours(phase)} to {phase.end}" for phase in (pair.before, pair.after)]
    yield _row(_mark(pair), _name(pair), *cells)
    yield from _unseen(_FIELDS[field] for field in pair.changes if field in _FIELDS)


def _visit(pair: Pair[Visit]) -> Iterator[str]:
    cells = ["" if visit is None else _day(visit) for visit in (pair.before, pair.after)]
    yield _row(_mark(pair), _name(pair), *cells)
    window = ["window"] if pair.before and pair.after and _window(pair.before) != _window(pair.after) else []
    yield from _unseen([*window, *(_FIELDS[field] for field in pair.changes if field in _FIELDS)])


def _hours(phase: Phase) -> str:
    low, high = phase.hours_low, phase.hours_high
    return f"{low:g} h" if low == high else f"{low:g}-{high:g} h"


def _day(visit: Visit) -> str:
    day = day_of(visit)
    return f"{day:%a} {day}" if day else "no day"


def _mark(pair: Pair[Phase] | Pair[Visit]) -> str:
    if pair.dropped:
        return "-"
    return "+" if pair.added else " " if pair.same else "~"


def _name(pair: Pair[Phase] | Pair[Visit]) -> str:
    names = dict.fromkeys(part.name for part in (pair.before, pair.after) if part is not None)
    return " / ".join(names)


def _window(visit: Visit) -> tuple[timedelta, timedelta]:
    """How long before and after its due day a visit counts: a window that moves with the visit is the same."""
    return visit.due - visit.opens, visit.closes - visit.due


def _unseen(words: Iterable[str]) -> Iterator[str]:
    named = dict.fromkeys(words)
    if named:
        yield f"      differs: {', '.join(named)}"


def _row(mark: str, name: str, one: str, other: str) -> str:
    """One row; a name that is too long has a line of its own."""
    if len(name) > NAME:
        return f"{mark} {name}\n{_row(' ', '', one, other)}"
    return f"{mark} {name.ljust(NAME)} {one.ljust(CELL)} {other}".rstrip()


def _end(comparison: Comparison) -> str:
    days = comparison.end_moved_by
    if not days:
        return f"Bracing ends {comparison.ends_before} in both."
    direction = "later" if days > 0 else "earlier"
    return (
        f"Bracing ends {comparison.ends_before} in A and {comparison.ends_after} in B, "
        f"{abs(days)} day{'' if abs(days) == 1 else 's'} {direction}."
    )


def _rules(rules: Sequence[RuleChange]) -> Iterator[str]:
    if not rules:
        return
    yield ""
    yield "Rules that no calendar shows"
    for rule in rules:
        yield f"~ {rule.place}: {rule.before or 'not given'} in A, {rule.after or 'not given'} in B"
