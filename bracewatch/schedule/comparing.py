"""How two timelines of one child differ, and how two protocols differ in what no calendar shows."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, Generic, TypeVar

from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Phase, Timeline, Visit

Part = TypeVar("Part", bound=Phase | Visit)


@dataclass(frozen=True, slots=True)
class Pair(Generic[Part]):
    """A phase or visit of one timeline beside its counterpart in the other; None where there is none.

    `changes` are the names of the fields that differ, empty when none does and when there is no counterpart.
    """

    before: Part | None
    after: Part | None
    changes: tuple[str, ...]

    @property
    def dropped(self) -> bool:
        return self.after is None

    @property
    def added(self) -> bool:
        return self.before is None

    @property
    def same(self) -> bool:
        return not (self.dropped or self.added or self.changes)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two timelines side by side, each pair in the order of its days.

    Phases and visits are paired by key; where a pause cuts a phase in pieces, the first piece with the first, the
    second with the second.
    """

    phases: tuple[Pair[Phase], ...]
    visits: tuple[Pair[Visit], ...]
    ends_before: date
    ends_after: date

    @property
    def phases_dropped(self) -> list[Phase]:
        """The phases that only the timeline before has."""
        return [pair.before for pair in self.phases if pair.before is not None and pair.dropped]

    @property
    def phases_added(self) -> list[Phase]:
        """The phases that only the timeline after has."""
        return [pair.after for pair in self.phases if pair.after is not None and pair.added]

    @property
    def phases_changed(self) -> list[Pair[Phase]]:
        """The phases that both have, not alike."""
        return [pair for pair in self.phases if pair.changes]

    @property
    def visits_dropped(self) -> list[Visit]:
        """The visits that only the timeline before has."""
        return [pair.before for pair in self.visits if pair.before is not None and pair.dropped]

    @property
    def visits_added(self) -> list[Visit]:
        """The visits that only the timeline after has."""
        return [pair.after for pair in self.visits if pair.after is not None and pair.added]

    @property
    def visits_moved(self) -> list[Pair[Visit]]:
        """The visits of both whose day differs: the day that is due, or the day that was chosen."""
        return [pair for pair in self.visits if {"due", "on"} & set(pair.changes)]

    @property
    def visits_changed(self) -> list[Pair[Visit]]:
        """The visits of both that differ in anything: day, window, name, what is decided, kept, booked, cancelled."""
        return [pair for pair in self.visits if pair.changes]

    @property
    def end_moved_by(self) -> int:
        """Days by which bracing ends later; negative when it ends earlier, 0 when the end stays."""
        return (self.ends_after - self.ends_before).days

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        phases_same = all(pair.same for pair in self.phases)
        return phases_same and all(pair.same for pair in self.visits) and not self.end_moved_by


@dataclass(frozen=True, slots=True)
class RuleChange:
    """One rule that two protocols have differently: its place in the file and what is written there.

    An empty text: that protocol has no such rule.
    """

    place: str
    before: str
    after: str


def compare(before: Timeline, after: Timeline) -> Comparison:
    """How `after` differs from `before`. Both are of one child; of two children the answer means nothing."""
    return Comparison(
        phases=tuple(sorted(_pairs(before.phases, after.phases), key=lambda pair: _either(pair).start)),
        visits=tuple(sorted(_pairs(before.visits, after.visits), key=lambda pair: _either(pair).due)),
        ends_before=before.ends_on,
        ends_after=after.ends_on,
    )


def compare_rules(before: Protocol, after: Protocol) -> tuple[RuleChange, ...]:
    """What differs beside phases and visits: status, "three months", contact, thresholds and brace settings.

    In the order of the files; wording and sources are left out. Empty when nothing differs.
    """
    old, new = dict(_rules(before)), dict(_rules(after))
    return tuple(
        RuleChange(place, old.get(place, ""), new.get(place, ""))
        for place in dict.fromkeys([*old, *new])
        if old.get(place) != new.get(place)
    )


def _pairs(before: Iterable[Part], after: Iterable[Part]) -> Iterator[Pair[Part]]:
    old = _numbered(before)
    new = _numbered(after)
    places: dict[tuple[str, int], None] = dict.fromkeys([*old, *new])
    for place in places:
        one, other = old.get(place), new.get(place)
        changes = () if one is None or other is None else _changes(one, other)
        yield Pair(one, other, changes)


def _numbered(parts: Iterable[Part]) -> dict[tuple[str, int], Part]:
    """The parts by key and how often that key came before."""
    seen: Counter[str] = Counter()
    found: dict[tuple[str, int], Part] = {}
    for part in parts:
        found[part.key, seen[part.key]] = part
        seen[part.key] += 1
    return found


def _changes(one: Part, other: Part) -> tuple[str, ...]:
    return tuple(name for name, was, now in zip(one._fields, one, other, strict=True) if was != now and name != "why")


def _either(pair: Pair[Part]) -> Part:
    found = pair.before if pair.before is not None else pair.after
    assert found is not None  # noqa: S101 - a pair has at least one side
    return found


def _rules(protocol: Protocol) -> Iterator[tuple[str, str]]:
    raw = tomllib.loads(protocol.text)
    yield "status", protocol.status
    yield "three_months", protocol.three_months
    for table in ("contact", "thresholds"):
        yield from _entries(table, raw[table])
    for settings in raw.get("settings", []):
        yield from _entries(f"settings.{settings['foot']}", settings)


def _entries(place: str, table: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in table.items():
        if name not in ("source", "foot"):
            yield f"{place}.{name}", ", ".join(map(str, value)) if isinstance(value, list) else str(value)
