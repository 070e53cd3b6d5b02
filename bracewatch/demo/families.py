"""The invented programme that people practise on: read from `demo_families.json`, checked whole before it is played.

Days are whole numbers counted from the day the practice starts: 0 is that day, -1 the day before. Times of
day are those where the clinic and its families live.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from bracewatch.demo.cross_checks import FURTHEST_DAYS, faults_between_parts
from bracewatch.messages.kinds import Asked
from bracewatch.messages.languages import shipped_language
from bracewatch.messages.wording import CLINIC_NAME_ROOM
from bracewatch.schedule.clinic_days import parse_weekdays
from bracewatch.schedule.local_time import zone
from bracewatch.schedule.protocol import Key
from bracewatch.schedule.protocol import shipped as shipped_protocol

FILE_NAME = "demo_families.json"

_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)


def _read_clock(value: object) -> time:
    match = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise ValueError(f"{value!r} is not a time of day: write it as in 18:00")
    moment = time(int(match[1]), int(match[2]))
    if not time(8) <= moment < time(21):
        raise ValueError(f"{value!r} is in the quiet hours: choose 08:00 to 20:59")
    return moment


def _weekdays(text: str) -> str:
    parse_weekdays(text)
    return text


def _zone(name: str) -> str:
    return zone(name).key


def _language(code: str) -> str:
    return shipped_language(code).code


def _protocol(protocol_id: str) -> str:
    return shipped_protocol(protocol_id).id


# The numbers are free for drama: a practice that is pointed at a real network by mistake reaches nobody.
def _caregivers_number(text: str) -> str:
    if not re.fullmatch(r"\+442079460\d{3}", text, re.ASCII):
        raise ValueError(f"{text!r} might be somebody's: use +442079460000 to +442079460999, kept free for drama")
    return text


def _clinics_number(text: str) -> str:
    if not re.fullmatch(r"\+441134960\d{3}", text, re.ASCII):
        raise ValueError(f"{text!r} might be somebody's: use +441134960000 to +441134960999, kept free for drama")
    return text


def _with_one_gap(text: str) -> str:
    if text.count("{n}") != 1 or set(text.replace("{n}", "")) & set("{}"):
        raise ValueError(f"{text!r} needs {{n}} once, where the number goes, and no other braces")
    return text


def _rising(pair: tuple[float, float]) -> tuple[float, float]:
    if pair[0] > pair[1]:
        raise ValueError(f"write the lower first, not {pair[0]:g} before {pair[1]:g}")
    return pair


Day = Annotated[int, Field(ge=-FURTHEST_DAYS, le=FURTHEST_DAYS)]
PastDay = Annotated[int, Field(ge=-FURTHEST_DAYS, le=0)]
Clock = Annotated[time, BeforeValidator(_read_clock)]
Words = Annotated[str, Field(pattern=r"\S", max_length=300)]
Share = Annotated[float, Field(ge=0, le=1)]
Delay = Annotated[float, Field(ge=0, le=48)]
LateDays = Annotated[int, Field(ge=0, le=14)]
Degrees = Annotated[float, Field(ge=-90, le=90)]
Hours = Annotated[int, Field(ge=0, le=24)]
Nights = Annotated[int, Field(ge=0, le=7)]
Weekdays = Annotated[str, AfterValidator(_weekdays)]
Language = Annotated[str, AfterValidator(_language)]
Phrase = Annotated[Words, AfterValidator(_with_one_gap)]


class _Part(BaseModel):
    # Strict: "3", 3.0 and true are not the number 3.
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Closure(_Part):
    """Days on which a clinic sees nobody: `day`, or all from `day` to `to`, both included."""

    day: Day
    to: Day | None = None
    reason: Words

    @property
    def days(self) -> range:
        """Every day of it."""
        return range(self.day, (self.day if self.to is None else self.to) + 1)


class Clinic(_Part):
    """A clinic as enrolment wants it, with its closed days in stretches and no clinic day in its weekend."""

    key: Key
    name: Annotated[Words, Field(max_length=CLINIC_NAME_ROOM)]
    country: Annotated[str, Field(pattern=r"^[A-Z]{2}$")]  # ISO 3166-1 alpha-2
    time_zone: Annotated[str, AfterValidator(_zone)]
    clinic_days: Weekdays
    weekend: Weekdays
    phone: Annotated[str, AfterValidator(_clinics_number)]
    closed: tuple[Closure, ...] = ()

    @property
    def closed_days(self) -> dict[int, str]:
        """Why the clinic is closed, by day."""
        return {day: closure.reason for closure in self.closed for day in closure.days}


class Behaviour(_Part):
    """What a family does while it behaves so. Pairs go from the least to the most, both included."""

    answers: Share  # of the questions
    delay_hours: Annotated[tuple[Delay, Delay], AfterValidator(_rising)]  # from a question to its answer
    hours: Annotated[tuple[Hours, Hours], AfterValidator(_rising)]  # answered where hours of a day are asked
    nights: Annotated[tuple[Nights, Nights], AfterValidator(_rising)]  # answered where nights of seven are asked
    keeps_visits: Share  # of the visits
    late_days: Annotated[tuple[LateDays, LateDays], AfterValidator(_rising)]  # from the planned day to a kept visit
    comes_after_follow_up: Share  # of the missed visits, within the two weeks after
    words: bool = False  # answers in the phrases of its language instead of plain figures
    phone_dead: bool = False  # the network refuses the number


class Phrases(_Part):
    """How families put a figure in one language: with {n} for the digits, or spelt out for one figure alone."""

    hours: Annotated[tuple[Phrase, ...], Field(min_length=1)]
    nights: Annotated[tuple[Phrase, ...], Field(min_length=1)]
    hours_spelt: dict[Hours, tuple[Words, ...]] = Field(default_factory=dict)
    nights_spelt: dict[Nights, tuple[Words, ...]] = Field(default_factory=dict)

    def ways_to_say(self, asked: Asked, figure: int) -> tuple[str, ...]:
        """Every answer that says `figure` hours or nights; at least one. Raises ValueError where neither is asked."""
        if asked is Asked.HOURS:
            with_gap, spelt = self.hours, self.hours_spelt
        elif asked is Asked.NIGHTS:
            with_gap, spelt = self.nights, self.nights_spelt
        else:
            raise ValueError(f"no figure answers the question {asked.value!r}: use hours or nights")
        return (*(phrase.format(n=figure) for phrase in with_gap), *spelt.get(figure, ()))


class Child(_Part):
    name: Words
    born: PastDay


class Caregiver(_Part):
    name: Words  # given name and relation
    phone: Annotated[str, AfterValidator(_caregivers_number)]
    language: Language
    contact_time: Clock


class Spell(_Part):
    """From the day `since` until its next spell the family behaves as its `behaviour` says."""

    since: Day = Field(alias="from")
    behaviour: Key = Field(alias="as")


class Saying(_Part):
    """A message that the caregiver sends unasked."""

    day: Day
    at: Clock
    text: Words


class Relapse(_Part):
    """Seen on `day`; after new casts the brace is worn again, full time, from `brace_start`."""

    day: PastDay
    brace_start: PastDay


class Family(_Part):
    """A child in bracing. `joined`: the day the program took it in; degrees are None where not written down.

    `foot_mm` is the length of both feet on that day.
    """

    key: Key
    clinic: Key
    child: Child
    caregiver: Caregiver
    sides: Literal["left", "right", "both"]
    foot: Literal["typical", "atypical", "loose"]
    abduction_before_release: Degrees | None
    abduction_last_cast: Degrees | None
    dorsiflexion: Degrees | None
    foot_mm: Annotated[int, Field(ge=65, le=180)]
    protocol: Annotated[str, AfterValidator(_protocol)]
    brace_start: PastDay
    joined: PastDay
    behaves: Annotated[tuple[Spell, ...], Field(min_length=1)]
    says: tuple[Saying, ...] = ()
    relapse: Relapse | None = None

    def behaves_on(self, day: int) -> str:
        """The key of its behaviour on a day. Raises ValueError for a day before its first spell."""
        keys = [spell.behaviour for spell in self.behaves if spell.since <= day]
        if not keys:
            raise ValueError(f"day {day} of {self.key} is before its first spell, from {self.behaves[0].since}")
        return keys[-1]


class Programme(_Part):
    """The whole file. `load` and `shipped` make one; both check everything first."""

    about: Annotated[str, Field(pattern=r"\S", max_length=2000)]
    opened: PastDay
    clinics: Annotated[tuple[Clinic, ...], Field(min_length=1)]
    behaviours: dict[Key, Behaviour]
    phrases: dict[Language, Phrases]
    families: Annotated[tuple[Family, ...], Field(min_length=1)]

    def clinic_of(self, family: Family) -> Clinic:
        """The clinic that the family goes to."""
        return next(clinic for clinic in self.clinics if clinic.key == family.clinic)

    def behaviour_of(self, family: Family, day: int) -> Behaviour:
        """What the family does on a day. Raises ValueError for a day before its first spell."""
        return self.behaviours[family.behaves_on(day)]


class ProgrammeFileError(ValueError):
    """A programme that cannot be played. `faults` holds one sentence a fault, each with its place in the file."""

    def __init__(self, where: str, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        count = f"{len(self.faults)} faults" if len(self.faults) > 1 else "1 fault"
        super().__init__("\n".join([f"{where}: {count}", *(f"  {fault}" for fault in self.faults)]))


def shipped() -> Programme:
    """The programme that comes with Bracewatch. Raises FileNotFoundError where its file is gone."""
    return load(find(Path(__file__).resolve().parents[1]))


def find(package: Path) -> Path:
    """The programme's file: inside the package folder when installed, beside it in a working copy.

    Raises FileNotFoundError that names both places.
    """
    places = (package / "_shipped" / FILE_NAME, package.parent / FILE_NAME)
    for place in places:
        if place.is_file():
            return place
    raise FileNotFoundError(f"{FILE_NAME} is neither {places[0]} nor {places[1]}: install Bracewatch again")


def load(path: Path) -> Programme:
    """The programme in a JSON file. Raises ProgrammeFileError with every fault, or OSError when it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        fault = f"byte {error.start} is not UTF-8: save the file as UTF-8"
        raise ProgrammeFileError(path.name, [fault]) from error
    return parse(text, path.name)


def parse(text: str, where: str) -> Programme:
    """The programme written in `text`; `where` names it in messages. Raises ProgrammeFileError with every fault."""
    raw, faults = _json(text, where)
    programme = None
    try:
        programme = Programme.model_validate_json(text)
    except ValidationError as error:
        faults += [_sentence(fault) for fault in error.errors()]
    faults += faults_between_parts(raw)
    if faults or programme is None:
        raise ProgrammeFileError(where, faults)
    return programme


def _json(text: str, where: str) -> tuple[object, list[str]]:
    """What the text says, and a fault for each name that an object holds twice: JSON itself would drop one unseen."""
    faults: list[str] = []

    def one_of_each(pairs: list[tuple[str, object]]) -> dict[str, object]:
        faults.extend(f"{name!r} stands twice in one object: keep one" for name in _twice(name for name, _ in pairs))
        return dict(pairs)

    try:
        return json.loads(text, object_pairs_hook=one_of_each), faults
    except json.JSONDecodeError as error:
        fault = f"line {error.lineno}, column {error.colno}: not valid JSON: {error.msg}"
    except (RecursionError, ValueError) as error:  # nested beyond all reason, or a number of thousands of digits
        fault = f"cannot be read as JSON: {error}"
    raise ProgrammeFileError(where, [fault])


def _twice(names: Iterable[str]) -> list[str]:
    return [name for name, count in Counter(names).items() if count > 1]


def _sentence(fault: Any) -> str:
    path = ".".join(str(step) for step in fault["loc"] if step != "[key]")
    given = fault["input"]
    shown = isinstance(given, str | int | float) and fault["type"] != "value_error" and path
    return f"{path or 'file'}: {fault['msg'].removeprefix('Value error, ')}{f' (given: {given!r})' if shown else ''}"
