"""Mending what cheap phones and hurried thumbs do to words. Words the lexicon knows are never touched."""

import re
from dataclasses import replace

from bracewatch.messages.replies.lexicon import SHORTEST_TO_MEND, Lexicon
from bracewatch.messages.replies.tokens import Sort, Token

_SHORTEST_STEM = 3
# A word of these senses may stand against digits without a space: "20hrs", "abt20", "7am", "5x".
_STANDS_AGAINST_DIGITS = ("units.", "about.", "range.")


def mended(tokens: tuple[Token, ...], words: Lexicon) -> tuple[Token, ...]:
    """The tokens with glued ones parted or joined and slips of spelling mended (those get `loose`)."""
    return _with_prefixes_joined([_mended_word(token, words) for token in _unglued(tokens, words)], words)


def _unglued(tokens: tuple[Token, ...], words: Lexicon) -> list[Token]:
    """ "20hrs" stays 20 and hrs; "2moro", "b4" and "gr8" become one word, so their digit is no count."""
    out: list[Token] = []
    for token in tokens:
        if not token.glued or not out or _may_touch(out[-1], token, words):
            out.append(token)
            continue
        out[-1] = Token(out[-1].text + token.text, Sort.WORD, glued=out[-1].glued)
    return out


def _may_touch(left: Token, right: Token, words: Lexicon) -> bool:
    if left.text + right.text in words.words:
        return False
    word = right if right.sort is Sort.WORD else left
    entry = words.phrases.get((words.spellings.get(word.text, word.text),))
    if entry is None:
        return word.text in words.prefixes
    return any(sense.startswith(_STANDS_AGAINST_DIGITS) for sense in entry.senses)


def _with_prefixes_joined(tokens: list[Token], words: Lexicon) -> tuple[Token, ...]:
    """A prefix that a thumb parted from its word is put back where the whole is a known word."""
    out: list[Token] = []
    for token in tokens:
        if out and out[-1].text in words.prefixes and out[-1].text + token.text in words.words:
            out[-1] = replace(token, text=out[-1].text + token.text)
        else:
            out.append(token)
    return tuple(out)


def _mended_word(token: Token, words: Lexicon) -> Token:
    if token.sort is not Sort.WORD or token.text in words.words or token.text in words.prefixes:
        return token
    exact = words.spellings.get(token.text) or _squeezed(token.text, words) or _stem(token.text, words)
    if exact is not None:
        return replace(token, text=exact)
    near = _nearest(token.text, words)
    return token if near is None else replace(token, text=near, loose=True)


def _squeezed(text: str, words: Lexicon) -> str | None:
    """ "pleeease" and "yesss": a letter held down counts once or twice."""
    for times in (r"\1\1", r"\1"):
        short = re.sub(r"(\w)\1{2,}", times, text)
        if short != text and (short in words.words or short in words.spellings):
            return words.spellings.get(short, short)
    return None


def _stem(text: str, words: Lexicon) -> str | None:
    """The known word inside `text` once the language's own prefixes and suffixes are taken off."""
    for prefix in ("", *words.prefixes):
        for suffix in ("", *words.suffixes):
            if not (text.startswith(prefix) and text.endswith(suffix)):
                continue
            stem = text[len(prefix) : len(text) - len(suffix)]
            stem = words.spellings.get(stem, stem)
            if len(stem) >= _SHORTEST_STEM and stem in words.words:
                return stem
    return None


def _nearest(text: str, words: Lexicon) -> str | None:
    """The one trade word that `text` is a slip away from; of several, one that tells of trouble."""
    if sum(char.isalpha() for char in text) < SHORTEST_TO_MEND:
        return None
    near = [word for word in words.mendable.get(text[0], ()) if _one_slip_apart(text, word)]
    troubles = [word for word in near if _tells_of_trouble(word, words)]
    if troubles:
        return troubles[0]
    senses = {words.phrases.get((word,)) for word in near}
    return near[0] if len(senses) == 1 else None


def _tells_of_trouble(word: str, words: Lexicon) -> bool:
    entry = words.phrases.get((word,))
    return entry is not None and any(sense.startswith("trouble.") for sense in entry.senses)


def _one_slip_apart(a: str, b: str) -> bool:
    """One letter changed, lost, doubled or added, or two neighbours swapped (optimal string alignment 1)."""
    if len(a) < len(b):
        a, b = b, a
    at = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), len(b))
    if len(a) == len(b):
        swapped = a[at + 1 : at + 2] + a[at : at + 1] + a[at + 2 :]
        return a[at + 1 :] == b[at + 1 :] or swapped == b[at:]
    return len(a) - len(b) == 1 and a[at + 1 :] == b[at:]
