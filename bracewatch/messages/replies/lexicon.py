"""The words of each language, read from `lexicons/<language>.toml`, checked, and ready to look up.

English words are understood in every language; where a language lists the same word, its own sense wins.
"""

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import combinations

from bracewatch.messages.replies.tokens import plain_text, tokenize

BASE = "en"
ABOUTS = ("toes", "skin", "pain", "broken", "fit", "small", "crying")  # the gravest first
WORD_KEYS: Mapping[str, tuple[str, ...]] = {
    "units": ("hours", "hours_or_clock", "nights", "days", "other", "clock", "daypart"),
    "range": ("from", "to", "or", "of", "of_turned", "between", "and"),
    "about": ("about", "bound", "vague", "whole", "all"),
    "answers": ("yes", "no", "coming", "not_coming", "maybe", "change"),
    "wishes": (
        *("stop", "stop_messages", "message_words", "end", "cancel", "start", "help"),
        *("call", "wrong_person", "moved", "brace_off", "grief"),
    ),
    "trouble": (*ABOUTS, "other", "weak"),
    "feet": ("feet",),
    "negation": ("before", "after", "things", "bridge", "settles", "void", "but"),
    "talk": ("courtesy", "plain", "when", "question", "opaque"),
}
VALUE_KEYS: Mapping[str, tuple[str, ...]] = {
    "numbers": ("alone", "by_unit", "only"),
    "amounts": ("hours", "nights"),
    "fractions": ("before", "after"),
}
NEEDED = frozenset(
    {
        *("units.hours", "units.nights", "answers.yes", "answers.no", "answers.coming", "answers.not_coming"),
        *("wishes.stop", "wishes.stop_messages", "wishes.call", "negation.but", "talk.courtesy", "talk.plain"),
        *(f"trouble.{about}" for about in ABOUTS),
    }
)
# A word may have two senses only where the reader tells them apart by its neighbours.
MAY_SHARE = frozenset(
    frozenset(pair)
    for pair in (
        ("answers.no", "negation.before"),
        ("answers.no", "negation.after"),
        ("units.nights", "units.daypart"),
        ("answers.yes", "negation.bridge"),
        ("answers.yes", "negation.void"),
        ("about.bound", "negation.void"),
        ("talk.plain", "negation.void"),
        ("wishes.stop", "negation.void"),
        ("talk.plain", "negation.settles"),
        ("range.to", "negation.bridge"),
        ("range.of", "range.between"),
        ("range.of", "range.from"),
        ("range.to", "range.from"),
        ("range.to", "talk.plain"),
        ("range.and", "talk.plain"),
        ("range.or", "talk.plain"),
        ("negation.bridge", "talk.plain"),
        ("negation.bridge", "range.of"),
        ("negation.bridge", "range.from"),
        ("negation.before", "negation.after"),
        ("range.from", "talk.plain"),
        ("wishes.stop", "talk.plain"),
        ("wishes.end", "talk.plain"),
        ("units.clock", "talk.plain"),
        ("numbers.by_unit", "numbers.only"),
        ("numbers.by_unit", "talk.plain"),
        ("numbers.only", "talk.plain"),
        ("numbers.only", "negation.bridge"),
    )
)
FIRM = "firm"
_NEGATIONS = frozenset({"negation.before", "negation.after", "answers.no"})
# No language may give these English words another sense: someone may be asking for help in them.
_GUARDED = ("trouble.", "wishes.stop", "wishes.call", "wishes.grief")
CLOCKS = (12, 24)
SHORTEST_TO_MEND = 5
# Counts and wishes: "three" is one slip from "threw", Swahili "mbili" (2) from "mbali" (far).
SHORTEST_RISKY_TO_MEND = 6
_MENDED = ("units.", "amounts.", "trouble.", "answers.coming", "answers.not_coming")


class LexiconError(ValueError):
    """A lexicon file is not fit to be read; the message lists every fault and what to do."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What one phrase means: its senses ("trouble.skin"), and its value where it is a count."""

    senses: frozenset[str]
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Lexicon:
    """One language with English beneath it.

    `clock_hours`: 12 or 24, how far people count the hours of the clock. `phrases` maps the words of a phrase
    to its entry; `longest` is the most words any has. `words` holds every single word in use; `spellings` maps
    other ways of writing a word to that word; `mendable` maps a first letter to the words whose spelling slips
    are mended.
    """

    language: str
    unit_first: bool
    clock_hours: float
    folds: Mapping[str, str]
    phrases: Mapping[tuple[str, ...], Entry]
    longest: int
    words: frozenset[str]
    spellings: Mapping[str, str]
    mendable: Mapping[str, tuple[str, ...]]
    prefixes: tuple[str, ...]
    suffixes: tuple[str, ...]


def languages() -> tuple[str, ...]:
    """The codes of the shipped languages, sorted."""
    names = (entry.name for entry in (resources.files("bracewatch.messages") / "lexicons").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


@lru_cache(maxsize=64)
def lexicon_of(language: str) -> Lexicon:
    """The lexicon of a shipped language. Raises ValueError naming the shipped ones for any other code."""
    if language not in languages():
        raise ValueError(f"no lexicon for language {language!r}; shipped: {', '.join(languages())}")
    own = _parsed(language)
    return build(own, own if language == BASE else _parsed(BASE))


def _parsed(language: str) -> Mapping[str, object]:
    path = resources.files("bracewatch.messages") / "lexicons" / f"{language}.toml"
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise LexiconError(f"lexicon {language}.toml is not valid TOML: {error}") from error


def build(own: Mapping[str, object], base: Mapping[str, object]) -> Lexicon:
    """A checked lexicon from the parsed file of a language and that of English.

    Raises LexiconError listing every fault: an unknown or missing key, an empty phrase, one phrase in two
    senses that cannot be told apart, or an English cry for help given another sense.
    """
    name = str(own.get("language", "?"))
    faults = _shape_faults(own)
    if faults:
        raise LexiconError(_message(name, faults))
    folds = {**_strings(base, "fold"), **_strings(own, "fold")}
    mine, faults = _entries(own, folds)
    below, base_faults = (mine, []) if own is base else _entries(base, folds)
    spellings = _merged_spellings(own, base, folds, mine)
    below = {tuple(spellings.get(word, word) for word in key): entry for key, entry in below.items()}
    faults += base_faults + [
        f"{' '.join(key)!r} is English {_listed(entry.senses)} and may get no other sense here: remove it"
        for key, entry in below.items()
        if key in mine and mine[key].senses != entry.senses and _is_guarded(entry.senses)
    ]
    if faults:
        raise LexiconError(_message(name, faults))
    return _assembled(own, folds, {**below, **mine}, spellings)


def _merged_spellings(
    own: Mapping[str, object],
    base: Mapping[str, object],
    folds: Mapping[str, str],
    mine: Mapping[tuple[str, ...], Entry],
) -> dict[str, str]:
    """The spellings of both files; a word the language uses itself is no misspelt English word."""
    own_words = {word for key in mine for word in key}
    below = {v: word for v, word in _spellings(base, folds).items() if v not in own_words}
    return {**below, **_spellings(own, folds)}


def _assembled(
    own: Mapping[str, object],
    folds: Mapping[str, str],
    phrases: dict[tuple[str, ...], Entry],
    spellings: Mapping[str, str],
) -> Lexicon:
    _mark_firm_troubles(phrases)
    for key, entry in list(phrases.items()):  # "callme", "toosmall": a lost space
        if len(key) > 1 and len("".join(key)) > SHORTEST_TO_MEND and all(word.isalpha() for word in key):
            phrases.setdefault(("".join(key),), entry)
    mendable: dict[str, set[str]] = {}
    for word in _mendable_words(phrases):
        mendable.setdefault(word[0], set()).add(word)
    return Lexicon(
        language=str(own["language"]),
        unit_first=own["unit_side"] == "before",
        clock_hours=float(str(own["clock_hours"])),
        folds=folds,
        phrases=phrases,
        longest=max(len(key) for key in phrases),
        words=frozenset(word for key in phrases for word in key),
        spellings=spellings,
        mendable={first: tuple(sorted(words)) for first, words in mendable.items()},
        prefixes=tuple(_folded(own, "prefixes", folds)),
        suffixes=tuple(_folded(own, "suffixes", folds)),
    )


def _mark_firm_troubles(phrases: dict[tuple[str, ...], Entry]) -> None:
    """A trouble that is told with a "not" of its own ("not sleeping") cannot be taken back by another."""
    nots = {key[0] for key, e in phrases.items() if len(key) == 1 and e.senses & _NEGATIONS}
    for key, entry in phrases.items():
        tells = any(sense.startswith("trouble.") for sense in entry.senses)
        if tells and nots.intersection(key):
            phrases[key] = Entry(entry.senses | {FIRM}, entry.value)


def _mendable_words(phrases: Mapping[tuple[str, ...], Entry]) -> Iterator[str]:
    for key, entry in phrases.items():
        if _is_risky_to_mend(entry):
            yield from (word for word in key if len(word) >= SHORTEST_RISKY_TO_MEND)
        elif any(sense.startswith(_MENDED) for sense in entry.senses):
            yield from (w for w in key if len(w) >= SHORTEST_TO_MEND - 1 and not _is_count(phrases.get((w,))))


def _is_count(entry: Entry | None) -> bool:
    return entry is not None and any(sense.startswith("numbers.") for sense in entry.senses)


def _is_risky_to_mend(entry: Entry) -> bool:
    is_count = "numbers.alone" in entry.senses and bool(entry.value)  # a slip never makes a zero
    return is_count or any(sense.startswith("wishes.") for sense in entry.senses)


def _entries(raw: Mapping[str, object], folds: Mapping[str, str]) -> tuple[dict[tuple[str, ...], Entry], list[str]]:
    """Every phrase of one file with its senses, and the faults found on the way."""
    found: dict[tuple[str, ...], Entry] = {}
    spellings = _spellings(raw, folds)
    faults: list[str] = []
    for phrase, sense, value in _listings(raw):
        key = tuple(spellings.get(word, word) for word in phrase_key(phrase, folds))
        if not key:
            faults.append(f"{phrase!r} under {sense} has no letter, digit or sign: remove it")
            continue
        earlier = found.get(key)
        if earlier is None:
            found[key] = Entry(frozenset({sense}), value)
            continue
        if sense in earlier.senses and value == earlier.value:
            continue  # two spellings that fold to one
        senses = earlier.senses | {sense}
        values = {earlier.value, value} - {None}
        if len(values) > 1 or not _may_share(senses):
            faults.append(f"{phrase!r} is listed under {_listed(senses)}: keep one")
        found[key] = Entry(senses, next(iter(values), None))
    return found, faults


def _spellings(raw: Mapping[str, object], folds: Mapping[str, str]) -> dict[str, str]:
    """Every other way to write a word, mapped to that word."""
    groups = raw["spellings"]
    if not isinstance(groups, list):
        return {}
    pairs = ((group[0], other) for group in groups for other in group[1:])
    return {"".join(phrase_key(other, folds)): "".join(phrase_key(word, folds)) for word, other in pairs}


def phrase_key(phrase: str, folds: Mapping[str, str]) -> tuple[str, ...]:
    """The words of a phrase as the reader will see them; glued tokens ("2day") count as one word."""
    key: list[str] = []
    for token in tokenize(plain_text(phrase, folds)):
        if token.glued:
            key[-1] += token.text
        else:
            key.append(token.text)
    return tuple(key)


def _listings(raw: Mapping[str, object]) -> Iterator[tuple[str, str, float | None]]:
    for table, keys in WORD_KEYS.items():
        section = raw[table]
        if isinstance(section, Mapping):
            yield from ((phrase, f"{table}.{key}", None) for key in keys for phrase in section[key])
    for table, keys in VALUE_KEYS.items():
        section = raw[table]
        if isinstance(section, Mapping):
            yield from (
                (phrase, f"{table}.{key}", float(value))
                for key in keys
                for value, phrases in section[key].items()
                for phrase in phrases
            )


def _may_share(senses: frozenset[str]) -> bool:
    if "negation.things" in senses:  # it marks some of the words of trouble, it gives them no other sense
        return all(sense.startswith("trouble.") for sense in senses - {"negation.things"})
    if "wishes.message_words" in senses:  # it says that a word may stand beside a stop
        senses -= {"wishes.message_words"}
        return not any(sense.startswith(("trouble.", "wishes.", "answers.")) for sense in senses) and _may_share(senses)
    return all(frozenset(pair) in MAY_SHARE for pair in combinations(senses, 2))


def _is_guarded(senses: Iterable[str]) -> bool:
    return any(sense.startswith(_GUARDED) for sense in senses)


def _listed(senses: Iterable[str]) -> str:
    return " and ".join(sorted(senses))


def _message(name: str, faults: list[str]) -> str:
    return f"lexicon {name}.toml has {len(faults)} fault(s):\n" + "\n".join(f"- {fault}" for fault in faults)


def _strings(raw: Mapping[str, object], table: str) -> dict[str, str]:
    section = raw[table]
    return {str(k): str(v) for k, v in section.items()} if isinstance(section, Mapping) else {}


def _folded(raw: Mapping[str, object], key: str, folds: Mapping[str, str]) -> Iterator[str]:
    listed = raw[key]
    if isinstance(listed, list):  # the longest first, so that the most is taken off
        yield from sorted((plain_text(str(affix), folds) for affix in listed), key=len, reverse=True)


def _shape_faults(raw: Mapping[str, object]) -> list[str]:
    """What is missing, unknown or of the wrong type in a parsed lexicon file."""
    top = {"language", "unit_side", "clock_hours", "prefixes", "suffixes", "fold", "spellings", *WORD_KEYS, *VALUE_KEYS}
    faults = [f"{key!r} is missing: add it" for key in sorted(top - raw.keys())]
    faults += [f"{key!r} is not known: remove it" for key in sorted(raw.keys() - top)]
    if raw.get("unit_side") not in ("before", "after"):
        faults.append(f'unit_side is {raw.get("unit_side")!r}: write "before" or "after"')
    if raw.get("clock_hours") not in CLOCKS:
        faults.append(f"clock_hours is {raw.get('clock_hours')!r}: write 12 or 24")
    faults += _fold_faults(raw.get("fold", {})) + _spelling_faults(raw.get("spellings", []))
    for table, keys in {**WORD_KEYS, **VALUE_KEYS}.items():
        section = raw.get(table, {})
        if not isinstance(section, Mapping):
            faults.append(f"[{table}] must be a table")
            continue
        faults += [f"{table}.{key} is not known: remove it" for key in sorted(section.keys() - set(keys))]
        faults += [f for key in keys for f in _key_faults(table, key, section.get(key))]
    return faults


def _fold_faults(section: object) -> list[str]:
    if not isinstance(section, Mapping):
        return ["[fold] must be a table from a letter to a letter"]
    return [f"fold.{k} must be a string" for k, v in section.items() if not isinstance(v, str)]


def _spelling_faults(groups: object) -> list[str]:
    if isinstance(groups, list) and all(_is_list(group) and len(group) > 1 for group in groups):
        return []
    return ["spellings must be a list of lists: a word, then the other ways to write it"]


def _key_faults(table: str, key: str, listed: object) -> list[str]:
    name = f"{table}.{key}"
    if table in VALUE_KEYS:
        if not isinstance(listed, Mapping):
            return [f"{name} must be a table from a number to its words"]
        faults = [f"{name}: {value!r} is not a number" for value in listed if not _is_number(value)]
        return faults + [f"{name}.{v} must list strings" for v, words in listed.items() if not _is_list(words)]
    if not _is_list(listed):
        return [f"{name} must be a list of strings (empty if the language has none)"]
    return [f"{name} is empty: list at least one word"] if name in NEEDED and not listed else []


def _is_list(listed: object) -> bool:
    return isinstance(listed, list) and all(isinstance(word, str) for word in listed)


def _is_number(value: object) -> bool:
    try:
        float(str(value))
    except ValueError:
        return False
    return True
