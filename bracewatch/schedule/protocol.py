"""A bracing protocol: phases, visits, thresholds and their sources, read from one TOML file."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from functools import lru_cache
from importlib import resources
from itertools import combinations
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from bracewatch.schedule.spans import Span

Key = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Share = Annotated[float, Field(gt=0, le=1)]
Foot = Literal["typical", "atypical", "loose"]
FEET: tuple[Foot, ...] = get_args(Foot)


def _rising(ends: tuple[float, float]) -> tuple[float, float]:
    low, high = ends
    if low > high:
        raise ValueError(f"a range goes from low to high, not {low:g} to {high:g}")
    return ends


Degrees = Annotated[
    tuple[Annotated[float, Field(ge=0, le=90)], Annotated[float, Field(ge=0, le=90)]], AfterValidator(_rising)
]


def _read_span(value: object) -> object:
    if isinstance(value, str):
        return Span.parse(value)
    raise ValueError(f"{value!r} is not a duration: write a text such as 'P14D' (ISO 8601)")


Duration = Annotated[Span, BeforeValidator(_read_span)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class Source(_Part):
    """Where a figure comes from, and how it was seen.

    READ: in a copy of the source. READ-2: in a second source that reports it. MEMORY: from memory.
    PRACTICE: common practice without a source. CALC: computed from quoted figures.
    """

    key: Key
    cite: str = Field(min_length=3)
    label: Literal["READ", "READ-2", "MEMORY", "PRACTICE", "CALC"]


class PhaseRule(_Part):
    """A stretch of the course with one number of hours a day. Ends after `lasts` or at an age."""

    key: Key
    name: str = Field(min_length=3)
    hours: tuple[Annotated[float, Field(gt=0, le=24)], Annotated[float, Field(gt=0, le=24)]]
    lasts: Duration | None = None
    until_age: Duration | None = None
    gate: Key | None = None  # the clinic's decision without which this phase does not end
    asks: Literal["hours", "nights"]
    check_in: Duration
    source: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _one_end_and_rising_hours(self) -> PhaseRule:
        if (self.lasts is None) == (self.until_age is None):
            raise ValueError("a phase has either 'lasts' or 'until_age', not both and not neither")
        if self.hours[0] > self.hours[1]:
            raise ValueError(f"'hours' go from low to high, not {self.hours[0]:g} to {self.hours[1]:g}")
        if self.check_in.months:
            raise ValueError(f"'check_in' is counted in days or weeks, not months: {self.check_in}")
        return self


Yes = Literal[True]  # written as true, or left out


class VisitRule(_Part):
    """One visit (`after` the brace start, `at_age`, or `at_end` of bracing), or a row of them (`every`).

    A row goes up to `until_age`, `until` (from the brace start) or `until_end`. Bracing ends when the protocol and
    the clinic's own word (lengthened, ended, a step made late) say so: what hangs on the end moves with it.
    """

    key: Key
    name: str = Field(min_length=3)
    after: Duration | None = None
    at_age: Duration | None = None
    at_end: Yes | None = None
    every: Duration | None = None
    from_age: Duration | None = None  # what a row counts from; without it rows count on from the visit before
    from_end: Yes | None = None
    until_age: Duration | None = None
    until: Duration | None = None  # counted from the brace start
    until_end: Yes | None = None
    opens: Duration  # how long before the due day a visit still counts as this one
    closes: Duration  # how long after
    decides: Key | None = None  # the gate that is decided at this visit
    source: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _one_kind_of_moment(self) -> VisitRule:
        if sum(moment is not None for moment in (self.after, self.at_age, self.at_end, self.every)) != 1:
            raise ValueError("a visit has exactly one of 'after', 'at_age', 'at_end' and 'every'")
        ends = sum(end is not None for end in (self.until_age, self.until, self.until_end))
        if ends != (self.every is not None):
            raise ValueError("'every' needs 'until_age', 'until' or 'until_end'; single visits have none of them")
        begins = [name for name in ("from_age", "from_end") if getattr(self, name) is not None]
        if begins and self.every is None:
            raise ValueError(f"{begins[0]!r} belongs to a row of visits, beside 'every'")
        if len(begins) > 1 or (self.from_end and self.until_end):
            raise ValueError(
                "a row begins at 'from_age' or at 'from_end', and from the end it goes on to an age or 'until'"
            )
        return self


class Variant(_Part):
    """The course for children corrected from one age up to, not including, another."""

    key: Key
    name: str = Field(min_length=3)
    corrected_from: Duration | None = None
    corrected_before: Duration | None = None
    feet: tuple[Foot, ...] = FEET
    phase: tuple[PhaseRule, ...] = Field(min_length=1)
    visit: tuple[VisitRule, ...] = Field(min_length=1)

    def covers(self, born: date, corrected: date, foot: str = "typical") -> bool:
        """Whether a child born and corrected on these days, with a foot of that kind, belongs here."""
        if foot not in self.feet:
            return False
        old_enough = self.corrected_from is None or self.corrected_from.after(born) <= corrected
        young_enough = self.corrected_before is None or corrected < self.corrected_before.after(born)
        return old_enough and young_enough


class Settings(_Part):
    """How the brace is set for one kind of foot, in degrees. A note says what a range cannot."""

    foot: Foot
    rotation_affected: Degrees
    rotation_unaffected: Degrees
    bend: Degrees
    note: str = ""
    source: tuple[Key, ...] = Field(min_length=1)


class Contact(_Part):
    """When families hear from us."""

    first_check_in: Duration
    visit_reminders: tuple[Duration, ...] = Field(min_length=1)  # before the visit
    closer_check_in: Duration  # while reported wear is low
    source: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _counted_in_days(self) -> Contact:
        for name in ("first_check_in", "closer_check_in"):
            if (span := getattr(self, name)).months:
                raise ValueError(f"{name!r} is counted in days or weeks, not months: {span}")
        return self


class Thresholds(_Part):
    """When staff are told. All are clinic settings."""

    missed_visit_grace: Duration
    low_wear_share: Share  # of the prescribed hours, mean of the latest reports
    low_wear_reports: int = Field(ge=1, le=14)
    low_wear_at_once_share: Share  # one report under this is enough
    low_wear_clears_after: int = Field(ge=1, le=14)  # good reports in a row
    low_wear_forgets: Duration  # older reports say nothing about now
    unanswered_check_ins: int = Field(ge=1, le=20)
    source: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _at_once_is_the_lower(self) -> Thresholds:
        if self.low_wear_at_once_share > self.low_wear_share:
            raise ValueError("'low_wear_at_once_share' is the lower of the two shares: one report under it is enough")
        return self


class Protocol(_Part):
    """A protocol as its file states it. `load` and `shipped` make one; both check everything first."""

    id: Key
    version: int = Field(ge=1)
    name: str = Field(min_length=3)
    about: str = Field(min_length=3)
    status: Literal["routine", "research, not routine"] = "routine"
    three_months: Literal["calendar months", "84 days"]
    source: tuple[Source, ...] = Field(min_length=1)
    settings: tuple[Settings, ...] = ()
    contact: Contact
    thresholds: Thresholds
    variant: tuple[Variant, ...] = Field(min_length=1)
    text: str = Field(repr=False)  # the file, as it was read

    def variant_for(self, born: date, corrected: date, foot: str = "typical") -> Variant:
        """The variant for a child corrected on that day. Raises ValueError when none covers age and foot."""
        for variant in self.variant:
            if variant.covers(born, corrected, foot):
                return variant
        ages = "; ".join(f"{variant.name}: {_ages(variant)}" for variant in self.variant)
        raise ValueError(
            f"protocol {self.id} has no course for a child born {born} and corrected {corrected}. It has: {ages}. "
            "Choose another protocol."
        )


class ProtocolError(ValueError):
    """A protocol that cannot be used. `faults` holds one sentence a fault, each with its place in the file.

    `readable` is the protocol when each of its parts can be read and only does not go with another.
    """

    def __init__(self, where: str, faults: Iterable[str], readable: Protocol | None = None) -> None:
        self.faults = tuple(faults)
        self.readable = readable
        count = f"{len(self.faults)} faults" if len(self.faults) > 1 else "1 fault"
        super().__init__("\n".join([f"{where}: {count}", *(f"  {fault}" for fault in self.faults)]))


def load(path: Path) -> Protocol:
    """The protocol in a TOML file. Raises ProtocolError with every fault, or OSError when it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8-sig")  # some editors put a mark in front
    except UnicodeDecodeError as error:
        raise ProtocolError(path.name, [f"not UTF-8 text: {error.reason} at byte {error.start}"]) from error
    return parse(text, path.name)


def parse(text: str, where: str) -> Protocol:
    """The protocol written in `text`; `where` names it in messages. Raises ProtocolError with every fault."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProtocolError(where, [f"not valid TOML: {error}"]) from error
    faults = []
    protocol = None
    try:
        protocol = Protocol.model_validate({**raw, "text": text})
    except ValidationError as error:
        found = error.errors()
        faults = [_sentence(fault) for fault in found if not _only_follows(fault, found)]
    faults += _faults_between_parts(raw)
    if faults or protocol is None:
        raise ProtocolError(where, faults, protocol)
    return protocol


@lru_cache(maxsize=1)
def _shipped() -> dict[str, Protocol]:
    folder = resources.files("bracewatch.schedule") / "protocols"
    files = sorted((file for file in folder.iterdir() if file.name.endswith(".toml")), key=lambda file: file.name)
    protocols = [parse(file.read_text(encoding="utf-8"), file.name) for file in files]
    return {protocol.id: protocol for protocol in protocols}


DEFAULT = "nights-to-four"


def shipped_ids() -> tuple[str, ...]:
    """The identifiers of the protocols that come with the program."""
    return tuple(_shipped())


def shipped(protocol_id: str) -> Protocol:
    """The protocol of that identifier. Raises ValueError that lists those there are."""
    try:
        return _shipped()[protocol_id]
    except KeyError:
        raise ValueError(f"no protocol {protocol_id!r}: there are {', '.join(shipped_ids())}") from None


def available(folder: Path | None, read: Callable[[Path], Protocol] = load) -> dict[str, Protocol]:
    """The protocols by identifier: those that come with the program, then those of a clinic's own folder, if any.

    Every `*.toml` of the folder is read with `read`, none below it. Raises ProtocolError with the faults of all its
    files together, an identifier that is taken among them, and for a folder that is not there.
    """
    known = dict(_shipped())
    if folder is None:
        return known
    if not folder.is_dir():
        raise ProtocolError(str(folder), ["there is no such folder"])
    faults = []
    taken = dict.fromkeys(known, "comes with the program")
    for file in sorted(folder.glob("*.toml")):
        try:
            own = read(file)
        except ProtocolError as error:
            faults += [f"{file.name}: {fault}" for fault in error.faults]
        except OSError as error:
            faults.append(f"{file.name}: cannot be read: {error.strerror}")
        else:
            if own.id in taken:
                faults.append(f"{file.name}: id: {own.id!r} {taken[own.id]}: choose another for this file")
            known.setdefault(own.id, own)
            taken.setdefault(own.id, f"stands in {file.name} too")
    if faults:
        raise ProtocolError(str(folder), faults)
    return known


def _ages(variant: Variant) -> str:
    words = []
    if variant.corrected_from is not None:
        words.append(f"from {variant.corrected_from}")
    if variant.corrected_before is not None:
        words.append(f"under {variant.corrected_before}")
    return " ".join(words) or "any age"


def _only_follows(fault: Any, found: Iterable[Any]) -> bool:
    """Whether a list is "too short" only because a faulty entry was not counted."""
    depth = len(fault["loc"])
    return fault["type"] == "too_short" and any(
        len(other["loc"]) > depth and other["loc"][:depth] == fault["loc"] for other in found
    )


def _sentence(fault: Any) -> str:
    path = ".".join(str(step) for step in fault["loc"]) or "file"
    given = fault["input"]
    if fault["type"] == "extra_forbidden":
        return f"{path}: there is no such entry here; there are {', '.join(_entries(fault['loc'][:-1]))}"
    said = _PLAINLY.get(fault["type"], fault["msg"].removeprefix("Value error, "))
    shown = f" (given: {given!r})" if isinstance(given, str | int | float) and fault["type"] != "value_error" else ""
    return f"{path}: {said}{shown}"


_PLAINLY = {
    "missing": "must be given",
    "string_pattern_mismatch": "use small letters, digits and single hyphens, as in full-time",
}


def _entries(place: Iterable[str | int]) -> list[str]:
    """The names of the entries that the part of a file at that place may have."""
    part: type[_Part] = Protocol
    for step in place:
        if isinstance(step, str):
            kind = part.model_fields[step].annotation
            part = next(one for one in (kind, *get_args(kind)) if isinstance(one, type) and issubclass(one, _Part))
    return [name for name in part.model_fields if (part, name) != (Protocol, "text")]


def _faults_between_parts(raw: dict[str, Any]) -> list[str]:
    """Faults that only show when parts are held side by side. Reads the raw file: other parts may be broken."""
    known = set(_texts([source.get("key") for source in _tables(raw, "source")]))
    faults = [f"text: there is no such entry here; there are {', '.join(_entries(()))}"] if "text" in raw else []
    faults += [
        f"{path}.source: {key!r} is not among the sources of this file ({', '.join(sorted(known))})"
        for path, part in _parts_with_sources(raw)
        for key in _texts(part.get("source"))
        if key not in known
    ]
    faults += _repeated(raw, "settings", "", "foot") + _repeated(raw, "variant", "")
    for number, variant in enumerate(_tables(raw, "variant")):
        path = f"variant.{number}."
        faults += _repeated(variant, "phase", path) + _repeated(variant, "visit", path)
        faults += _repeated(variant, "phase", path, "gate") + _undecided(variant, path)
        faults += _other_three_months(variant, path, raw.get("three_months")) + _wide_windows(variant, path)
    return faults + _overlapping_ages(raw)


def _undecided(variant: dict[str, Any], path: str) -> list[str]:
    """Decisions without a visit, and visits that decide what ends no phase."""
    phases, visits = _tables(variant, "phase"), _tables(variant, "visit")
    gates = dict.fromkeys(_texts([phase.get("gate") for phase in phases]))
    decided = set(_texts([visit.get("decides") for visit in visits]))
    return [
        f"{path}phase.{place}.gate: {phase['gate']!r} is decided at no visit of this variant"
        for place, phase in enumerate(phases)
        if isinstance(phase.get("gate"), str) and phase["gate"] not in decided
    ] + [
        f"{path}visit.{place}.decides: no phase of this variant has the gate {visit['decides']!r}; "
        f"there are {', '.join(gates) or 'none'}"
        for place, visit in enumerate(visits)
        if isinstance(visit.get("decides"), str) and visit["decides"] not in gates
    ]


_THREE_MONTHS = {"calendar months": Span(months=3), "84 days": Span(days=84)}


def _other_three_months(variant: dict[str, Any], path: str, meant: object) -> list[str]:
    """Phases and decisions of three months that are counted in another way than the file says."""
    own = _THREE_MONTHS.get(meant) if isinstance(meant, str) else None
    if own is None:
        return []  # reported where the field is read
    others = [span for span in _THREE_MONTHS.values() if span != own]
    counted = [
        *((f"phase.{place}.lasts", phase.get("lasts")) for place, phase in enumerate(_tables(variant, "phase"))),
        *(
            (f"visit.{place}.after", visit.get("after"))
            for place, visit in enumerate(_tables(variant, "visit"))
            if visit.get("decides") is not None
        ),
    ]
    return [
        f"{path}{place}: {text!r}, but 'three_months' here are {meant!r}: write '{own}', or change 'three_months'"
        for place, text in counted
        if _span(text) in others
    ]


_YEAR = 366  # days


def _wide_windows(variant: dict[str, Any], path: str) -> list[str]:
    """Visits that would count for more than a year: their window would hold the next ones."""
    windows = [
        (place, visit, _span(visit.get("opens")), _span(visit.get("closes")))
        for place, visit in enumerate(_tables(variant, "visit"))
    ]
    return [
        f"{path}visit.{place}: its window, {visit['opens']} before to {visit['closes']} after, is more than a year: "
        "shorten 'opens' or 'closes'"
        for place, visit, opens, closes in windows
        if opens is not None and closes is not None and opens.about_days + closes.about_days > _YEAR
    ]


def _span(text: object) -> Span | None:
    """The duration, when it is one; what is none is reported where the field is read."""
    try:
        return Span.parse(text) if isinstance(text, str) else None
    except ValueError:
        return None


def _tables(raw: dict[str, Any], name: str) -> list[dict[str, Any]]:
    rows = raw.get(name)
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _texts(value: object) -> list[str]:
    return [text for text in value if isinstance(text, str)] if isinstance(value, list) else []


def _parts_with_sources(raw: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for name in ("contact", "thresholds"):
        if isinstance(raw.get(name), dict):
            yield name, raw[name]
    for place, part in enumerate(_tables(raw, "settings")):
        yield f"settings.{place}", part
    for number, variant in enumerate(_tables(raw, "variant")):
        for kind in ("phase", "visit"):
            for place, part in enumerate(_tables(variant, kind)):
                yield f"variant.{number}.{kind}.{place}", part


def _repeated(raw: dict[str, Any], name: str, path: str, entry: str = "key") -> list[str]:
    """Entries that no two tables of that name may have alike."""
    seen: set[object] = set()
    faults = []
    for place, row in enumerate(_tables(raw, name)):
        value = row.get(entry)
        if isinstance(value, str) and value in seen:
            faults.append(f"{path}{name}.{place}.{entry}: {value!r} stands here twice")
        seen.add(value if isinstance(value, str) else None)
    return faults


def _overlapping_ages(raw: dict[str, Any]) -> list[str]:
    """Variants between which the age would not decide, for a kind of foot they share."""

    def edge(variant: dict[str, Any], name: str, default: float) -> float:
        span = _span(variant.get(name))
        return default if span is None else span.about_days

    variants = [
        (edge(variant, "corrected_from", 0), edge(variant, "corrected_before", float("inf")), number, variant)
        for number, variant in enumerate(_tables(raw, "variant"))
    ]
    return [
        f"variant.{second[2]}: its ages overlap those of variant.{first[2]}"
        for first, second in combinations(variants, 2)
        if max(first[0], second[0]) < min(first[1], second[1]) and _share_a_foot(first[3], second[3])
    ]


def _share_a_foot(first: dict[str, Any], second: dict[str, Any]) -> bool:
    return all("feet" not in variant for variant in (first, second)) or bool(
        set(_texts(first.get("feet", list(FEET)))) & set(_texts(second.get("feet", list(FEET))))
    )
