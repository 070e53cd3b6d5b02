"""Everything the reading rules look at, worked out once for one reply."""

from collections.abc import Sequence
from dataclasses import dataclass

from bracewatch.messages.kinds import Asked
from bracewatch.messages.replies.amounts import Amount, find_amounts
from bracewatch.messages.replies.lexicon import Lexicon
from bracewatch.messages.replies.marks import BREAK, UNKNOWN, Denials, Mark, find_denials, find_marks

# Words that leave a count or an answer as it is. Everything else might change it, so a person looks.
_HARMLESS = (
    *("talk.courtesy", "talk.plain", "talk.when", "negation.bridge", "negation.but", "about.about"),
    *("about.whole", "about.all", "range.", "answers.yes", "units.hours", "units.nights", "units.days", BREAK),
    *("units.daypart", "units.hours_or_clock"),
)
_SHORT = 4


@dataclass(frozen=True, slots=True)
class Scene:
    """One reply in the light of the last question.

    `clock_hours`: 12 or 24, how far its language counts the hours of the clock. `amounts`: its counts.
    `loose_ends`: the marks no rule understands (indexes), so the reply may say more than was read. `words`: how
    many words and numbers it has.
    """

    asked: Asked
    clock_hours: float
    marks: tuple[Mark, ...]
    denials: Denials
    amounts: tuple[Amount, ...]
    loose_ends: frozenset[int]
    words: int

    @property
    def is_short(self) -> bool:
        return self.words <= _SHORT

    @property
    def is_open(self) -> bool:
        return self.asked is not Asked.NOTHING

    @property
    def asks_for_a_count(self) -> bool:
        return self.asked in (Asked.HOURS, Asked.NIGHTS)

    def where(self, *senses: str) -> list[int]:
        """Indexes of the marks with one of these senses that no "not" takes back."""
        return [i for i, m in enumerate(self.marks) if m.has(*senses) and i not in self.denials.denied]

    def denied(self, *senses: str) -> bool:
        """Whether a mark with one of these senses is taken back."""
        return any(self.marks[i].has(*senses) for i in self.denials.denied)

    def is_only(self, *senses: str, beside: str = "talk.courtesy") -> bool:
        """Whether the reply holds such a mark and, but for those beside it, only courtesy and punctuation."""
        rest = (m for m in self.marks if not m.has("talk.courtesy", BREAK, beside))
        return bool(self.where(*senses)) and all(m.has(*senses) for m in rest)

    @property
    def feet(self) -> frozenset[int]:
        """Indexes of the marks that name a foot or a part of it."""
        return frozenset(self.where("feet."))

    @property
    def plain_no(self) -> bool:
        """Whether the reply holds a "no" that stands for itself."""
        said = self.where("answers.no")
        return any(i in self.denials.spare or not self.marks[i].has("negation.") for i in said)

    @property
    def stray_negation(self) -> bool:
        """Whether a "not" that is no plain "no" took nothing back: it may deny anything in the reply."""
        return any(not self.marks[i].has("answers.no") for i in self.denials.spare)


def set_scene(text: str, words: Lexicon, asked: Asked) -> Scene:
    """The scene of a reply. Never raises."""
    marks = find_marks(text, words)
    denials = find_denials(marks)
    amounts = find_amounts(marks, unit_first=words.unit_first)
    return Scene(
        asked=asked,
        clock_hours=words.clock_hours,
        marks=marks,
        denials=denials,
        amounts=amounts,
        loose_ends=_loose_ends(marks, denials, amounts),
        words=sum(mark.words for mark in marks),
    )


def _loose_ends(marks: Sequence[Mark], denials: Denials, amounts: Sequence[Amount]) -> frozenset[int]:
    read = {i for amount in amounts for i in range(amount.start, amount.end)} | denials.denied
    read |= {i for i, m in enumerate(marks) if m.has("negation.before", "negation.after")}
    read |= {i for i, m in enumerate(marks) if m.has("feet.") and _is_said_to_be_well(marks, denials, i)}
    return frozenset(i for i, m in enumerate(marks) if i not in read and _is_loose(m))


def _is_said_to_be_well(marks: Sequence[Mark], denials: Denials, at: int) -> bool:
    """ "No redness on her heel", "toes are fine": the foot is named only to say that it is well."""
    before, after = _neighbour(marks, at, -1), _neighbour(marks, at, 1)
    is_free_of_trouble = any(i in denials.denied and marks[i].has("trouble.") for i in (before, after))
    return is_free_of_trouble or (after not in (-1, len(marks)) and marks[after].has("answers.yes"))


def _neighbour(marks: Sequence[Mark], at: int, step: int) -> int:
    """The index of the next mark that says something; -1 or the count of the marks when there is none."""
    at += step
    while 0 <= at < len(marks) and marks[at].has("negation.bridge", "talk.plain"):
        at += step
    return at


def _is_loose(mark: Mark) -> bool:
    return mark.has(UNKNOWN) or not mark.has(*_HARMLESS)
