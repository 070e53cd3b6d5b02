"""From what a phone sent to plain tokens. Knows Unicode, knows no language."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Sort(StrEnum):
    """What a token is: a word, a count, digits that are no count, or a sign (punctuation, emoji)."""

    WORD = "word"
    NUMBER = "number"
    ODD = "odd"  # a phone number, a date, a clock time, a negative number
    SIGN = "sign"


@dataclass(frozen=True, slots=True)
class Token:
    """One piece of a reply.

    `value` is set for a NUMBER only. `glued`: no gap before it ("20hrs"). `loose`: its spelling was mended.
    """

    text: str
    sort: Sort
    value: float | None = None
    glued: bool = False
    loose: bool = False


UNREADABLE = "¤"  # stands for a numeral that is no decimal digit (superscripts, circled numbers)
_APOSTROPHES = "'’‘ʼ`´＇"
_TATWEEL = "\u0640"
_NO_WIDTH = "\x00"
_ARABIC_POINT, _ARABIC_THOUSANDS = "\u066b", "\u066c"
_SKIN_TONES = range(0x1F3FB, 0x1F400)
# Marks that writers leave out at will: nukta, harakat, accents (canonical combining classes, UAX #44).
_LIGHT_MARKS = frozenset({7, 220, 230}) | frozenset(range(27, 37))

_PHONE = re.compile(r"\+?\d(?:[\s().-]*\d){6,}")
_DATE = re.compile(r"\d{1,4}([./-])\d{1,2}\1\d{1,4}(?!\d)")
_CLOCK = re.compile(r"\d{1,2}\s?:\s?\d{1,2}(?::\d{1,2})?|\d{1,2}h\d{2}(?!\d)")  # "20:30", "20h30"
_POINTED = re.compile(r"\d+(?:[.,]\d+)+")
_LEADING_POINT = re.compile(r"[.,]\d+")
_NEGATIVE = re.compile(r"-\s*\d+(?:[.,]\d+)*")
_WHOLE = re.compile(r"\d+")
# "22.5" is a count; "22.30" or "20.00" may be a clock time; with a comma only a half is surely a decimal.
_DECIMAL_COUNT = re.compile(r"\d{1,2}(?:\.\d|,5)")
_MOST_DIGITS = 6


def plain_text(text: str, folds: Mapping[str, str]) -> str:
    """`text` with ASCII digits, one kind of dash and apostrophe, no case, no accents, no invisible marks.

    Digits of every script are mapped through their Unicode decimal value. `folds` are a language's own
    letter foldings. An invisible mark between two digits becomes a space, so two numbers never melt into one.
    """
    mapped = "".join(_plain_char(char) for char in text)
    mapped = re.sub(r"(?<=\d)\s?½", ".5", mapped).replace("½", UNREADABLE)
    mapped = re.sub(rf"(?<=\d){_NO_WIDTH}+(?=\d)", " ", mapped).replace(_NO_WIDTH, "")
    spread = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", mapped).casefold())
    kept = (c for c in spread if unicodedata.combining(c) not in _LIGHT_MARKS and c != _TATWEEL)
    return "".join(folds.get(c, c) for c in kept)


def _plain_char(char: str) -> str:
    digit = unicodedata.decimal(char, None)
    if digit is not None:
        return str(digit)
    if char in _APOSTROPHES:
        return "'"
    if char in (_ARABIC_POINT, _ARABIC_THOUSANDS):
        return "." if char == _ARABIC_POINT else ","
    return _by_category(char, unicodedata.category(char))


def _by_category(char: str, category: str) -> str:
    if category == "No" and char != "½":
        return UNREADABLE
    if category == "Pd" or char == "−":
        return "-"
    if category == "Cf":
        return _NO_WIDTH
    if category == "Me" or "\ufe00" <= char <= "\ufe0f" or ord(char) in _SKIN_TONES:
        return ""  # keycap rings, emoji styles, skin tones
    if category == "Cc" and char != "\n":
        return " "
    return char


def tokenize(plain: str) -> tuple[Token, ...]:
    """The tokens of a text made by `plain_text`, in reading order. Never raises."""
    tokens: list[Token] = []
    at = last_end = 0
    while at < len(plain):
        end, token = _next_token(plain, at, tokens)
        if token is not None:
            glued = at == last_end and bool(tokens) and _joins(tokens[-1]) and _joins(token)
            tokens.append(Token(token.text, token.sort, token.value, glued))
            last_end = end
        at = end
    return tuple(tokens)


def _joins(token: Token) -> bool:
    return token.sort is not Sort.SIGN


def _next_token(plain: str, at: int, before: list[Token]) -> tuple[int, Token | None]:
    char = plain[at]
    number = _number_at(plain, at, before)
    if number is not None:
        return number
    if _is_letter(char):
        return _word_at(plain, at)
    if (char.isspace() and char != "\n") or unicodedata.category(char).startswith("M"):
        return at + 1, None
    if char == "-" and _is_letter(plain[at - 1 : at]) and _is_letter(plain[at + 1 : at + 2]):
        return at + 1, None  # twenty-three
    return at + 1, Token(char, Sort.SIGN)


def _number_at(plain: str, at: int, before: list[Token]) -> tuple[int, Token] | None:
    if plain[at] == "-" and _starts_a_negative(plain, at, before):
        return _odd(_NEGATIVE.match(plain, at))
    for pattern in (_PHONE, _DATE, _CLOCK):
        found = _odd(pattern.match(plain, at))
        if found is not None:
            return found
    if at == 0 or plain[at - 1].isspace():
        found = _odd(_LEADING_POINT.match(plain, at))
        if found is not None:
            return found
    match = _POINTED.match(plain, at) or _WHOLE.match(plain, at)
    if match is None:
        return None
    written = match.group()
    is_count = written.isdigit() or _DECIMAL_COUNT.fullmatch(written)
    if not is_count or len(written) > _MOST_DIGITS or written.startswith("00"):
        return _odd(match)
    return match.end(), Token(written, Sort.NUMBER, float(written.replace(",", ".")))


def _starts_a_negative(plain: str, at: int, before: list[Token]) -> bool:
    if not before:
        return True
    follows_a_gap = not _is_letter(plain[at - 1]) and plain[at + 1 : at + 2].isdigit()
    return follows_a_gap and before[-1].sort is not Sort.NUMBER


def _odd(match: re.Match[str] | None) -> tuple[int, Token] | None:
    return None if match is None else (match.end(), Token(match.group(), Sort.ODD))


def _word_at(plain: str, at: int) -> tuple[int, Token]:
    letters: list[str] = []
    while at < len(plain):
        char = plain[at]
        if char == "'" and not _is_letter(plain[at + 1 : at + 2]):
            break
        if char != "'" and not _is_letter(char) and not unicodedata.category(char).startswith("M"):
            break
        letters.append(char)
        at += 1
    return at, Token("".join(letters).replace("'", ""), Sort.WORD)


def _is_letter(char: str) -> bool:
    return char != "" and unicodedata.category(char).startswith("L")


def is_punctuation(text: str) -> bool:
    """Whether `text` is one punctuation mark or a line end, which ends a clause."""
    return text == "\n" or unicodedata.category(text[0]).startswith("P")
