"""How well the foot was corrected and how the brace is set, held against published ranges or a clinic's own.

Says what to look at again. Never blocks, never decides: the clinic does. A value that is not given says nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, get_args

from bracewatch.schedule.protocol import Protocol, Settings

FootKind = Literal["typical", "atypical", "loose"]
Sides = Literal["left", "right", "both"]
Heel = Literal["valgus", "neutral", "varus"]
Label = Literal["READ", "READ-2", "MEMORY", "PRACTICE", "CALC"]


@dataclass(frozen=True, slots=True)
class Range:
    """Degrees from `low` up to and including `high` (None: no upper end), with where they come from."""

    low: float
    high: float | None
    cite: str
    label: Label

    def __post_init__(self) -> None:
        if self.high is not None and not self.low <= self.high:
            raise ValueError(f"range {self.low:g} to {self.high:g} degrees: the lower end comes first")

    def holds(self, degrees: float) -> bool:
        return self.low <= degrees and (self.high is None or degrees <= self.high)

    @property
    def words(self) -> str:
        """As in "60–70°" or "at least 70°"."""
        return f"at least {self.low:g}°" if self.high is None else f"{self.low:g}–{self.high:g}°"


@dataclass(frozen=True, slots=True)
class FootRanges:
    """What is expected of one kind of foot, in degrees. None: no figure applies.

    `abduction_tolerated` is what the last cast must reach for the brace to be worn at all, `abduction_last_cast`
    what counts as corrected. `bend_needs_dorsiflexion`: the bar stays straight until the last cast held that much,
    and from the first bend on the affected foot is set at `rotation_once_bent`.
    """

    abduction_before_release: Range | None
    abduction_last_cast: Range | None
    abduction_tolerated: Range | None
    dorsiflexion: Range | None
    rotation_affected: Range
    rotation_unaffected: Range
    bend: Range
    rotation_once_bent: Range | None = None
    bend_needs_dorsiflexion: Range | None = None


@dataclass(frozen=True, slots=True)
class Ranges:
    """The ranges of a clinic, for each kind of foot."""

    typical: FootRanges
    atypical: FootRanges
    loose: FootRanges

    def for_kind(self, kind: FootKind) -> FootRanges:
        return {"typical": self.typical, "atypical": self.atypical, "loose": self.loose}[kind]


_KHAN = "Khan MA et al. Iowa Orthop J 2017;37:151-156 (PMC5508266)"
_GUPTA = "Gupta S, Agarwal A. J Foot Ankle Surg (Asia Pac) 2021;8(3):118-125, doi:10.5005/jp-journals-10040-1172"
_DESAI = "Desai L et al. Iowa Orthop J 2010;30:15-23, Table 2 (PMC2958265)"
_LEAFLETS = "Five hospital leaflets, which differ by centre"
_PATIENT_TEXT = "Patient-education text on casting and bracing"
_PRACTICE = "Common practice, no source"

_BEFORE_RELEASE = Range(50, None, _PRACTICE, "PRACTICE")
_CORRECTED_ABDUCTION = Range(70, None, _KHAN, "READ")
_TOLERATED = Range(60, None, _PATIENT_TEXT, "READ")
_CORRECTED_DORSIFLEXION = Range(15, None, _KHAN, "READ")
_BEND = Range(10, 15, _GUPTA, "READ")
_UNAFFECTED = Range(30, 45, _LEAFLETS, "READ")
_LOOSE_SHOES = Range(30, 40, _DESAI, "READ")
_DORSIFLEXION_FOR_BEND = Range(10, None, _DESAI, "READ")

PUBLISHED = Ranges(
    typical=FootRanges(
        abduction_before_release=_BEFORE_RELEASE,
        abduction_last_cast=_CORRECTED_ABDUCTION,
        abduction_tolerated=_TOLERATED,
        dorsiflexion=_CORRECTED_DORSIFLEXION,
        rotation_affected=Range(60, 70, _GUPTA, "READ"),
        rotation_unaffected=_UNAFFECTED,
        bend=_BEND,
    ),
    # The abduction of a typical foot is not asked of an atypical one: it is braced at 20 to 50 degrees.
    atypical=FootRanges(
        abduction_before_release=None,
        abduction_last_cast=None,
        abduction_tolerated=None,
        dorsiflexion=_DORSIFLEXION_FOR_BEND,
        rotation_affected=Range(20, 30, _DESAI, "READ"),
        rotation_unaffected=_UNAFFECTED,
        bend=_BEND,
        rotation_once_bent=Range(40, 50, _DESAI, "READ"),
        bend_needs_dorsiflexion=_DORSIFLEXION_FOR_BEND,
    ),
    loose=FootRanges(
        abduction_before_release=_BEFORE_RELEASE,
        abduction_last_cast=_CORRECTED_ABDUCTION,
        abduction_tolerated=_TOLERATED,
        dorsiflexion=_CORRECTED_DORSIFLEXION,
        rotation_affected=_LOOSE_SHOES,
        rotation_unaffected=_LOOSE_SHOES,
        bend=_BEND,
    ),
)

_WEAKER_AND_WEAKER: tuple[Label, ...] = ("READ", "READ-2", "CALC", "MEMORY", "PRACTICE")


def ranges_of(protocol: Protocol) -> Ranges:
    """The ranges of a protocol: the settings in its file, with the sources and the weakest label that it gives
    them; the published ranges for what it does not say."""
    own = {settings.foot: settings for settings in protocol.settings}
    kinds = {kind: PUBLISHED.for_kind(kind) for kind in get_args(FootKind)}
    return Ranges(
        **{kind: _as_set(protocol, own[kind], range_) if kind in own else range_ for kind, range_ in kinds.items()}
    )


def _as_set(protocol: Protocol, settings: Settings, published: FootRanges) -> FootRanges:
    """The published ranges of one kind of foot with a protocol's settings laid over them.

    A file has one range where the published ones have two stages, a straight bar and then a bent one. When it goes
    from the lowest of the first to the highest of the second, it says no more than the stages do, and they stand.
    """
    sources = [source for source in protocol.source if source.key in settings.source]
    cite = "; ".join(source.cite for source in sources)
    label = max((source.label for source in sources), key=_WEAKER_AND_WEAKER.index)
    turned, other, bend = (
        Range(*ends, cite, label) for ends in (settings.rotation_affected, settings.rotation_unaffected, settings.bend)
    )
    bent = published.rotation_once_bent
    if bent is not None and (turned.low, turned.high) == (published.rotation_affected.low, bent.high):
        turned = published.rotation_affected
    else:
        bent = None
    if published.bend_needs_dorsiflexion is not None and (bend.low, bend.high) == (0, published.bend.high):
        bend = published.bend
    return replace(published, rotation_affected=turned, rotation_unaffected=other, bend=bend, rotation_once_bent=bent)


# What a foot or a brace can do at all, in degrees. Dorsiflexion may be negative: the foot still points down. PRACTICE
POSSIBLE = {
    "abduction_before_release": (0.0, 90.0),
    "abduction_last_cast": (0.0, 90.0),
    "dorsiflexion": (-60.0, 70.0),
    "rotation_affected": (0.0, 90.0),
    "rotation_unaffected": (0.0, 90.0),
    "bend": (0.0, 45.0),
}


@dataclass(frozen=True, slots=True)
class Correction:
    """The feet at the end of casting and the brace as it is set, in degrees; None: not recorded.

    `kind` is that of the affected foot or feet; `rotation_affected` holds for both feet when both are affected.
    Raises ValueError, naming the field and what is allowed, for anything that cannot be.
    """

    kind: FootKind
    sides: Sides
    abduction_before_release: float | None = None
    abduction_last_cast: float | None = None
    dorsiflexion: float | None = None
    rotation_affected: float | None = None
    rotation_unaffected: float | None = None
    bend: float | None = None
    heel: Heel | None = None

    def __post_init__(self) -> None:
        _one_of("kind", self.kind, get_args(FootKind))
        _one_of("sides", self.sides, get_args(Sides))
        if self.heel is not None:
            _one_of("heel", self.heel, get_args(Heel))
        for field, (low, high) in POSSIBLE.items():
            degrees = getattr(self, field)
            if degrees is not None and not low <= degrees <= high:
                name = field.replace("_", " ")
                raise ValueError(f"{name} {degrees:g}° cannot be: give {low:g} to {high:g}, or leave it empty")


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to look at again. `field` is the name of the value in Correction, `sentence` is for staff."""

    field: str
    sentence: str
    cite: str
    label: Label


def cautions(correction: Correction, ranges: Ranges = PUBLISHED) -> tuple[Caution, ...]:
    """What staff should look at again, in the order of treatment; empty when all that is given is in range.

    A value that is None gives no caution, whatever the rest says.
    """
    expected = ranges.for_kind(correction.kind)
    return (*_of_casting(correction, expected), *_of_rotation(correction, expected), *_of_bend(correction, expected))


def _of_casting(foot: Correction, expected: FootRanges) -> Iterator[Caution]:
    before, last, lift = foot.abduction_before_release, foot.abduction_last_cast, foot.dorsiflexion
    if before is not None and (fault := _missed(expected.abduction_before_release, before)):
        text = f"The last cast before the heel-cord release held {before:g}° of abduction; {fault.words} is usual."
        yield _caution("abduction_before_release", text, fault)
    if last is not None:
        yield from _of_last_cast(last, expected)
    if lift is not None and (fault := _missed(expected.dorsiflexion, lift)):
        text = f"Dorsiflexion at the end of casting was {lift:g}°; {fault.words} is looked for in {_kind(foot)}."
        yield _caution("dorsiflexion", text, fault)
        if last is not None and (short := _missed(expected.abduction_last_cast, last)):
            text = f"Abduction stopped at {last:g}°, short of {short.low:g}°: that limits dorsiflexion."
            yield Caution("dorsiflexion", text, _PRACTICE, "PRACTICE")
    if foot.heel is not None and foot.heel != "valgus":
        text = f"The heel stands in {foot.heel if foot.heel == 'varus' else 'neutral'}; a corrected heel is in valgus."
        yield Caution("heel", text, _PRACTICE, "PRACTICE")


def _of_last_cast(abduction: float, expected: FootRanges) -> Iterator[Caution]:
    if fault := _missed(expected.abduction_tolerated, abduction):
        text = f"The last cast held {abduction:g}° of abduction; under {fault.low:g}° the brace may not be tolerated."
        yield _caution("abduction_last_cast", text, fault)
    elif fault := _missed(expected.abduction_last_cast, abduction):
        text = f"The last cast held {abduction:g}° of abduction; a foot counts as corrected with {fault.words}."
        yield _caution("abduction_last_cast", text, fault)


def _of_rotation(foot: Correction, expected: FootRanges) -> Iterator[Caution]:
    turned, other, last = foot.rotation_affected, foot.rotation_unaffected, foot.abduction_last_cast
    if turned is not None:
        yield from _of_affected_boot(foot, turned, expected)
        if last is not None and turned > last:
            text = f"The boot is turned out {turned:g}°, further than the {last:g}° that the last cast held."
            yield Caution("rotation_affected", text, _PRACTICE, "PRACTICE")
    if other is None:
        return
    if foot.sides == "both":
        text = f"A setting of {other:g}° is given for an unaffected foot, but both feet are affected."
        yield Caution("rotation_unaffected", text, _PRACTICE, "PRACTICE")
    elif fault := _missed(expected.rotation_unaffected, other):
        text = f"The boot of the unaffected foot is turned out {other:g}°; {fault.words} is usual."
        yield _caution("rotation_unaffected", text, fault)


def _of_affected_boot(foot: Correction, turned: float, expected: FootRanges) -> Iterator[Caution]:
    choices, stage = _rotations(foot, expected)
    if any(choice.holds(turned) for choice in choices):
        return
    words = " or ".join(choice.words for choice in choices)
    text = f"The boot of the affected foot is turned out {turned:g}°; {words} is expected for {_kind(foot)}{stage}."
    yield _caution("rotation_affected", text, choices[0])


def _rotations(foot: Correction, expected: FootRanges) -> tuple[tuple[Range, ...], str]:
    """The ranges of which one must hold, and when. Where bending the bar changes the range, an unknown bend allows
    both."""
    straight, bent = expected.rotation_affected, expected.rotation_once_bent
    if bent is None:
        return (straight,), ""
    if foot.bend is None:
        return (straight, bent), ""
    return ((bent,), " once the bar is bent") if foot.bend else ((straight,), " on a straight bar")


def _of_bend(foot: Correction, expected: FootRanges) -> Iterator[Caution]:
    if foot.bend is None:
        return
    needs = expected.bend_needs_dorsiflexion
    if needs is not None and foot.bend == 0:
        return  # a straight bar is the right start for this foot
    if not expected.bend.holds(foot.bend):
        text = f"The bar is bent {foot.bend:g}°; {expected.bend.words} is usual."
        yield _caution("bend", text, expected.bend)
    if needs is not None and foot.dorsiflexion is not None and not needs.holds(foot.dorsiflexion):
        text = (
            f"The bar is bent although dorsiflexion was {foot.dorsiflexion:g}°; for {_kind(foot)} it stays straight "
            f"until the last cast held {needs.words}."
        )
        yield _caution("bend", text, needs)


def _missed(expected: Range | None, degrees: float) -> Range | None:
    """The range, when there is one and the value lies outside it."""
    return None if expected is None or expected.holds(degrees) else expected


def _caution(field: str, sentence: str, source: Range) -> Caution:
    return Caution(field, sentence, source.cite, source.label)


def _kind(foot: Correction) -> str:
    return {"typical": "a typical foot", "atypical": "an atypical foot", "loose": "a foot with loose joints"}[foot.kind]


def _one_of(field: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise ValueError(f"{field} {value!r}: use {', '.join(allowed[:-1])} or {allowed[-1]}")
