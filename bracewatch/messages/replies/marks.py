"""What each stretch of a reply means on its own, and what a "not" in it takes back."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from bracewatch.messages.replies.lexicon import FIRM, Lexicon
from bracewatch.messages.replies.spelling import mended
from bracewatch.messages.replies.tokens import Sort, Token, is_punctuation, plain_text, tokenize

UNKNOWN = "unknown"
NUMBER = "number"
ODD = "odd"
BREAK = "break"


@dataclass(frozen=True, slots=True)
class Mark:
    """A phrase of the reply with its senses; `value` for a count; `loose` if its spelling was mended."""

    senses: frozenset[str]
    value: float | None
    loose: bool
    words: int
    is_picture: bool

    def has(self, *senses: str) -> bool:
        """Whether the mark has one of these senses; "trouble." stands for every sense of that table."""
        return any(s in self.senses or (s[-1] == "." and self._starts(s)) for s in senses)

    def _starts(self, table: str) -> bool:
        return any(sense.startswith(table) for sense in self.senses)


def find_marks(text: str, words: Lexicon) -> tuple[Mark, ...]:
    """The marks of a reply in reading order; the longest known phrase wins. Never raises."""
    tokens = mended(tokenize(plain_text(text, words.folds)), words)
    marks: list[Mark] = []
    at = 0
    while at < len(tokens):
        mark, length = _longest(tokens, at, words)
        marks.append(mark)
        at += length
    return tuple(marks)


def _longest(tokens: Sequence[Token], at: int, words: Lexicon) -> tuple[Mark, int]:
    for length in range(min(words.longest, len(tokens) - at), 0, -1):
        span = tokens[at : at + length]
        entry = words.phrases.get(tuple(token.text for token in span))
        if entry is not None:
            return _mark(span, entry.senses, entry.value), length
    return _unlisted(tokens[at]), 1


def _unlisted(token: Token) -> Mark:
    if token.sort is Sort.NUMBER:
        return _mark((token,), frozenset({NUMBER}), token.value)
    if token.sort is Sort.ODD:
        return _mark((token,), frozenset({ODD}), None)
    if token.sort is Sort.SIGN and is_punctuation(token.text):
        return _mark((token,), frozenset({BREAK}), None)
    return _mark((token,), frozenset({UNKNOWN}), None)


def _mark(span: Sequence[Token], senses: frozenset[str], value: float | None) -> Mark:
    first = span[0].text[0]
    ends_clause = len(span) == 1 and span[0].sort is Sort.SIGN and is_punctuation(first)
    return Mark(
        senses=senses | {BREAK} if ends_clause else senses,
        value=value,
        loose=any(token.loose for token in span),
        words=sum(token.sort is not Sort.SIGN for token in span),
        is_picture=span[0].sort is Sort.SIGN and unicodedata.category(first).startswith("S"),
    )


_LOOK_AHEAD = 3
_SETTLING = (
    *("negation.settles", "negation.but", "units.", "range.and", "range.or", "talk.courtesy", "talk.when"),
    *("answers.yes", BREAK),
)
# What stands beyond a denied word and shows that the trouble is there all the same, ahead (1) and behind (-1).
_LEAVING = {1: ("negation.void",), -1: ("negation.void", "about.bound", "about.vague")}
_DENIABLE = ("trouble.", "answers.coming", "answers.yes", "wishes.call")


@dataclass(frozen=True, slots=True)
class Denials:
    """Which marks a "not" takes back, and which negations took nothing back (indexes into the marks)."""

    denied: frozenset[int]
    spare: frozenset[int]


def find_denials(marks: Sequence[Mark]) -> Denials:
    """What is negated. A negation reaches its neighbour only, across a few bridging words ("no more pain")
    and along an "or" ("no pain or redness"): a wider reach could take back a trouble that is there."""
    denied: set[int] = set()
    spare: set[int] = set()
    for at, mark in reversed(list(enumerate(marks))):
        if not mark.has("negation.before", "negation.after"):
            continue
        taken = _reach(marks, at, 1) if mark.has("negation.before") else []
        if not taken and mark.has("negation.after"):
            is_one_of_many = at + 1 in denied and marks[at + 2 : at + 3] and marks[at + 2].has("negation.after")
            taken = _reach_back(marks, at, is_settled=bool(is_one_of_many))  # "pain no, swelling no"
        denied.update(taken)
        if not taken:
            spare.add(at)
    return Denials(frozenset(denied), frozenset(spare))


def _reach_back(marks: Sequence[Mark], at: int, *, is_settled: bool) -> list[int]:
    """What a negation that follows its word takes back; nothing where more may hang on it.

    "Pain no is" denies the pain, "pain no going is" says that it stays.
    """
    after = marks[at + 1 : at + 1 + _LOOK_AHEAD]
    is_settled = is_settled or not after or after[0].value is not None or after[0].has(*_SETTLING)
    if not is_settled or any(mark.has("negation.void") for mark in _to_break(after)):
        return []
    taken = _reach(marks, at, -1)
    if marks[at].has("negation.before"):  # "pleure pas" denies the crying, "rouge pas" is rather two thoughts
        taken = [i for i in taken if marks[i].has("negation.things")]
    return taken


def _to_break(marks: Sequence[Mark]) -> Sequence[Mark]:
    return marks[: next((i for i, mark in enumerate(marks) if mark.has(BREAK)), len(marks))]


def _reach(marks: Sequence[Mark], at: int, step: int) -> list[int]:
    taken: list[int] = []
    is_plain_no = marks[at].has("answers.no")
    at += step
    while 0 <= at < len(marks) and marks[at].has("negation.bridge"):
        at += step
    while 0 <= at < len(marks) and _is_deniable(marks[at], is_plain_no and step > 0):
        if 0 <= at + step < len(marks) and marks[at + step].has(*_LEAVING[step]):
            break  # "no pain relief", "not red only", "much pain is not"
        taken.append(at)
        if not (0 <= at + step < len(marks) and marks[at + step].has("range.or")):
            break
        at += 2 * step
    return taken


def _is_deniable(mark: Mark, by_plain_no: bool) -> bool:
    """ "No pain" denies a thing; "no hurts" and "no not sleeping" are a "no" and then a trouble."""
    if mark.has(FIRM) or (by_plain_no and mark.has("trouble.") and not mark.has("negation.things")):
        return False
    return mark.has(*_DENIABLE)
