"""What each stretch of a reply means on its own, and what a "not" in it takes back."""

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bracewatch.messages.replies.lexicon import Lexicon
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
    for at, mark in enumerate(marks):
        taken: Iterable[int] = ()
        if mark.has("negation.before"):
            taken = _reach(marks, at, 1)
        elif mark.has("negation.after") and not _is_void(marks, at):
            taken = _reach(marks, at, -1)
        elif not mark.has("negation.after"):
            continue
        denied.update(taken)
        if not taken:
            spare.add(at)
    return Denials(frozenset(denied), frozenset(spare))


def _is_void(marks: Sequence[Mark], at: int) -> bool:
    """ "the pain is not going": what follows shows that the trouble stays."""
    return at + 1 < len(marks) and marks[at + 1].has("negation.void")


def _reach(marks: Sequence[Mark], at: int, step: int) -> list[int]:
    taken: list[int] = []
    at += step
    while 0 <= at < len(marks) and marks[at].has("negation.bridge"):
        at += step
    while 0 <= at < len(marks) and marks[at].has(*_DENIABLE):
        taken.append(at)
        if not (0 <= at + step < len(marks) and marks[at + step].has("range.or")):
            break
        at += 2 * step
    return taken
