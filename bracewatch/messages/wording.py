"""The words of every text we send, in each shipped language.

Texts live in gettext catalogues, `locale/CODE/LC_MESSAGES/messages.po`, one entry per kind (its context is
the kind's value). A catalogue also holds the words we ask people to send back (context "reply") and the form
of a date (context "day", a CLDR date pattern). A new language is a new folder; no code changes.
A clinic may word a text itself, with the same placeholders.

The phone may be shared: no text names the child, the condition or the treatment.
"""

import gettext
import io
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from types import MappingProxyType

from babel.dates import format_date
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import PoFileError, read_po

from bracewatch.messages.kinds import Asked, Kind
from bracewatch.messages.languages import LOCALE_FOLDER, Language, shipped_language
from bracewatch.messages.segments import Segments, measure, plain

# With a clinic name and a phone number up to these many characters every shipped text stays within two parts
# in its own language. Longer ones are worded all the same and may cost one part more.
CLINIC_NAME_ROOM = 14
PHONE_ROOM = 13

REPLY_WORDS = ("CALL", "NO", "START", "STOP", "YES")
DAY_PATTERN = "EEEE d MMMM"  # Monday 7 December


@dataclass(frozen=True, slots=True)
class _Text:
    english: str
    asks: Asked = Asked.NOTHING


_TEXTS: Mapping[Kind, _Text] = {
    Kind.WELCOME: _Text(
        "Hello from %(clinic)s. We will send short questions and visit reminders. "
        "Toes cold or blue, or skin sore? Call %(phone)s today. "
        "Please do not leave the boots off without asking us. "
        "To end these texts, reply %(STOP)s."
    ),
    Kind.CHECK_IN_HOURS: _Text(
        "%(clinic)s: How many hours were the boots on yesterday? "
        "Reply with a number from 0 to 24. Every answer helps us.",
        Asked.HOURS,
    ),
    Kind.CHECK_IN_NIGHTS: _Text(
        "%(clinic)s: On how many of the last 7 nights were the boots on? "
        "Reply with a number from 0 to 7. Every answer helps us.",
        Asked.NIGHTS,
    ),
    Kind.VISIT_REMINDER: _Text(
        "%(clinic)s: Your visit is on %(day)s. Please bring the boots. "
        "Can you come? Reply %(YES)s or %(NO)s, or call %(phone)s.",
        Asked.COMING,
    ),
    Kind.MISSED_VISIT: _Text(
        "%(clinic)s: We missed you and hope all is well. "
        "For a new day, reply %(YES)s and we ring you, or call %(phone)s.",
        Asked.COMING,
    ),
    Kind.THANKS: _Text("%(clinic)s: Thank you for your answer. It helps us care for your child."),
    Kind.TROUBLE_HEARD: _Text(
        "%(clinic)s: Thank you for telling us. Somebody from the clinic will call you. "
        "If skin is broken, or toes are cold, blue or swollen, call %(phone)s today. "
        "Please do not leave the boots off without asking us."
    ),
    Kind.CALL_HEARD: _Text("%(clinic)s: Thank you. Somebody from the clinic will call you."),
    Kind.ASK_AGAIN_HOURS: _Text(
        "%(clinic)s: Sorry, we could not read that. How many hours were the boots on yesterday? "
        "Reply with just a number from 0 to 24.",
        Asked.HOURS,
    ),
    Kind.ASK_AGAIN_NIGHTS: _Text(
        "%(clinic)s: Sorry, we could not read that. On how many of the last 7 nights were the boots on? "
        "Reply with just a number from 0 to 7.",
        Asked.NIGHTS,
    ),
    Kind.ASK_AGAIN: _Text(
        "%(clinic)s: Sorry, we could not read that. Please reply %(YES)s or %(NO)s, or reply %(CALL)s and we ring you.",
        Asked.COMING,
    ),
    Kind.HELP: _Text(
        "%(clinic)s: We send short questions and visit reminders. "
        "Worried about skin or toes? Call %(phone)s today. "
        "Reply %(CALL)s and we ring you, %(STOP)s to end."
    ),
    Kind.STOPPED: _Text(
        "%(clinic)s: We will send no more texts. You can still call us: %(phone)s. To begin again, reply %(START)s."
    ),
    Kind.STARTED: _Text(
        "%(clinic)s: Welcome back. We will send questions and visit reminders again. Reply %(STOP)s to end."
    ),
    Kind.NOT_COMING_HEARD: _Text(
        "%(clinic)s: Thank you for telling us. Somebody will call you to find another day. Or call us: %(phone)s."
    ),
    Kind.COMING_HEARD: _Text("%(clinic)s: Thank you. See you on %(day)s. Please bring the boots."),
}

MOST_PARTS = 2  # our own limit for a text in its own language

_PLACEHOLDER = re.compile(r"%\((\w+)\)s")
_IN_BRACES = re.compile(r"\{(\w+)\}")
_PHONE = re.compile(r"[+(]?[0-9][0-9 ().-]{1,18}[0-9]")
_LEFT_TO_RIGHT_MARK = "\u200e"
_NOT_ON_ONE_LINE = frozenset({"Cc", "Cs", "Zl", "Zp"})  # control characters, half pairs, line breaks


def word(kind: Kind, *, language: str, wording: str | None = None, **facts: str | date) -> str:
    """The text of `kind` in the language of that code ("sw"), with the facts put in; never empty.

    `wording` is the clinic's own, as `faults_in_wording` finds no fault with; the shipped one when None. Facts:
    `clinic` (name as families know it), `phone` (the clinic's number, shown as given), `day` (a date, worded as
    weekday, day and month). Raises ValueError for a language not shipped, a fact that is missing, not wanted by
    this kind, or of a wrong form, for a wording with other placeholders than its own, and for a catalogue that is
    not whole.
    """
    catalogue = _catalogue(language)
    needed = needed_facts(kind)
    _refuse(f"a text {kind.value} lacks", needed - facts.keys())
    _refuse(f"a text {kind.value} does not use", frozenset(facts) - needed)
    worded = {name: _FACTS[name](value, catalogue) for name, value in facts.items()}
    text = shipped_wording(kind, language) if wording is None else wording
    if wording is not None and (fault := _fault_in_placeholders(kind, wording)):
        raise ValueError(f"the wording of {kind.value} {fault}")
    return plain(text % {**catalogue.reply_words, **worded})


def shipped_wording(kind: Kind, language: str) -> str:
    """The wording we ship, with its placeholders, as in "%(clinic)s: Thank you."

    Raises ValueError for a language not shipped.
    """
    return _catalogue(language).texts.pgettext(kind.value, _TEXTS[kind].english)


def in_braces(wording: str) -> str:
    """A wording as people edit it: "{clinic}" for "%(clinic)s".

    Braces are turned round as a pair where the text runs from right to left (Unicode UAX 9, rule N0); the other
    form comes apart there.
    """
    return _PLACEHOLDER.sub(r"{\1}", wording)


def from_braces(typed: str) -> str:
    """The wording that somebody typed: on one kind of line end, plain quotes, no blanks round it."""
    lines = [line.strip() for line in typed.replace("\r\n", "\n").replace("\r", "\n").split("\n")]
    return _IN_BRACES.sub(r"%(\1)s", plain("\n".join(lines)).strip())


def gaps(kind: Kind) -> tuple[str, ...]:
    """The placeholders of this kind: the facts first, then the words people may send back."""
    found = _placeholders(_TEXTS[kind].english)
    return (*sorted(found - set(REPLY_WORDS)), *sorted(found & set(REPLY_WORDS)))


def faults_in_wording(kind: Kind, wording: str, *, language: str, clinic: str, phone: str) -> list[str]:
    """What is wrong with a clinic's own wording, in words that say what to do; empty when it may be sent.

    Raises ValueError for a language not shipped.
    """
    if not wording.strip():
        return ["the text is empty: write one, or go back to the shipped wording"]
    strange = [each for each in wording if each != "\n" and unicodedata.category(each) in _NOT_ON_ONE_LINE]
    if strange:
        return [f"it holds a character that no phone can show (U+{ord(strange[0]):04X}): type the text again"]
    if fault := _fault_in_placeholders(kind, wording):
        return [f"the text {fault}"]
    longest = at_its_longest(kind, language=language, clinic=clinic, phone=phone, wording=wording)
    if longest.parts > MOST_PARTS:
        room = "Letters outside the plain alphabet make a part hold 67 instead of 153"
        return [
            f"it takes {longest.parts} parts ({longest.encoding}, {longest.units} units), and {MOST_PARTS} are the "
            f"most: shorten it. {room}"
        ]
    return []


def at_its_longest(kind: Kind, *, language: str, clinic: str, phone: str, wording: str | None = None) -> Segments:
    """What a text costs with this clinic's name and number, on the day that makes it longest."""
    facts: dict[str, str | date] = {"clinic": clinic, "phone": phone}
    needed = needed_facts(kind)
    costs = [
        measure(word(kind, language=language, wording=wording, **{n: v for n, v in given.items() if n in needed}))
        for given in ({**facts, "day": day} for day in longest_days(language))
    ]
    return max(costs, key=lambda cost: (cost.parts, cost.units))


@cache
def longest_days(language: str) -> tuple[date, ...]:
    """The days whose wording is the longest: of all, and of those that need UCS-2 where others do not.

    A short "août" may cost more than a long "septembre". Raises ValueError for a language not shipped.
    """
    catalogue = _catalogue(language)
    # The 22 days of two digits in every month hold each weekday: one year has every pair.
    days = [date(2026, 1, 1) + timedelta(days=number) for number in range(365)]
    worded = {_day(day, catalogue): day for day in days}
    dearer = [text for text in worded if measure(text).encoding == "UCS-2"]
    longest = {max(worded, key=len), *([max(dearer, key=len)] if dearer else [])}
    return tuple(worded[text] for text in longest)


def needed_facts(kind: Kind) -> frozenset[str]:
    """Names of the facts `word` needs for this kind, such as {"clinic", "phone"}."""
    return _placeholders(_TEXTS[kind].english) - set(REPLY_WORDS)


def asks(kind: Kind) -> Asked:
    """What a text of this kind asks the caregiver; NOTHING when it asks nothing."""
    return _TEXTS[kind].asks


def reply_words(language: str) -> Mapping[str, str]:
    """The words our texts ask people to send back, in this language, by their English name ("STOP").

    Raises ValueError for a language not shipped.
    """
    return _catalogue(language).reply_words


@dataclass(frozen=True, slots=True)
class Catalogue:
    """One language's whole, checked texts."""

    language: Language
    texts: gettext.GNUTranslations
    reply_words: Mapping[str, str]
    day_pattern: str


def load(language: Language, folder: Path) -> Catalogue:
    """The catalogue of a language in a folder laid out like `locale/`.

    Raises ValueError naming every entry that is missing, fuzzy, empty, or has other placeholders than the
    English, and for a file that is no .po file.
    """
    path = folder / language.code / "LC_MESSAGES" / "messages.po"
    try:
        with path.open("rb") as file:
            catalog = read_po(file, locale=language.code, abort_invalid=True)
    except PoFileError as error:
        raise ValueError(f"{language.code}/LC_MESSAGES/messages.po cannot be read: {error}") from error
    faults = [fault for context, english in entries() if (fault := _fault(catalog, context, english))]
    if faults:
        raise ValueError(f"mend {language.code}/LC_MESSAGES/messages.po: {'; '.join(faults)}")
    compiled = io.BytesIO()
    write_mo(compiled, catalog)
    compiled.seek(0)
    texts = gettext.GNUTranslations(compiled)
    return Catalogue(
        language,
        texts,
        MappingProxyType({name: texts.pgettext("reply", name) for name in REPLY_WORDS}),
        texts.pgettext("day", DAY_PATTERN),
    )


def entries() -> list[tuple[str, str]]:
    """Context and English of every entry a catalogue must have: texts, reply words, date pattern."""
    texts = [(kind.value, text.english) for kind, text in _TEXTS.items()]
    return [*texts, *(("reply", name) for name in REPLY_WORDS), ("day", DAY_PATTERN)]


@cache
def _catalogue(code: str) -> Catalogue:
    return load(shipped_language(code), LOCALE_FOLDER)


def _fault(catalog: Catalog, context: str, english: str) -> str | None:
    """What is wrong with one entry, in words for a translator; None when nothing is."""
    entry = f"{context} ({english[:40]!r})"
    message = catalog.get(english, context=context)
    if message is None:
        return f"{entry} is missing"
    if message.fuzzy:
        return f"{entry} is marked fuzzy"
    if not isinstance(message.string, str) or not message.string.strip():
        return f"{entry} is not translated"
    if _placeholders(message.string) != _placeholders(english):
        return f"{entry} needs exactly the placeholders {', '.join(sorted(_placeholders(english))) or 'none'}"
    if context == "day" and not _words_a_day(message.string):
        return f"{entry} must word weekday, day and month, and no year"
    return None


def _fault_in_placeholders(kind: Kind, wording: str) -> str | None:
    """What is wrong with the placeholders of a wording; None when it has just those that its kind needs."""
    needed, found = _placeholders(_TEXTS[kind].english), _placeholders(wording)
    if found == needed:
        return None
    wrong = [f"lacks {{{name}}}" for name in sorted(needed - found)]
    wrong += [f"has {{{name}}}, which nothing is put into" for name in sorted(found - needed - {"%"})]
    wrong += ["has a percent sign, which cannot be sent: write it as a word"] if "%" in found else []
    return f"{', '.join(wrong)}. It needs {', '.join(f'{{{name}}}' for name in gaps(kind))} and no other"


def _placeholders(text: str) -> frozenset[str]:
    """Names of the placeholders in a text; a stray percent sign counts as one called "%"."""
    stray = {"%"} if "%" in _PLACEHOLDER.sub("", text) else set()
    return frozenset({*_PLACEHOLDER.findall(text), *stray})


def _words_a_day(pattern: str) -> bool:
    fields = set(re.sub(r"'[^']*'", "", pattern))
    return {"E", "d", "M"} <= fields and not fields & set("yYuU")


def _clinic(value: str | date, catalogue: Catalogue) -> str:
    name = plain(value).strip() if isinstance(value, str) else ""
    if not name or any(unicodedata.category(character) in _NOT_ON_ONE_LINE for character in name):
        raise ValueError(f"clinic must be the clinic's name on one line, not {value!r}")
    return name


def _phone(value: str | date, catalogue: Catalogue) -> str:
    number = plain(value).strip() if isinstance(value, str) else ""
    if not _PHONE.fullmatch(number):
        raise ValueError(f"phone must be the clinic's number as families dial it, not {value!r}")
    # Without the mark a right-to-left phone shows "+254 712 345" as "345 712 254+" (Unicode UAX 9).
    return _LEFT_TO_RIGHT_MARK + number if catalogue.language.direction == "rtl" else number


def _day(value: str | date, catalogue: Catalogue) -> str:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise ValueError(f"day must be a date in the family's own zone, not {value!r}")
    return format_date(value, catalogue.day_pattern, locale=catalogue.language.code)


_FACTS: Mapping[str, Callable[[str | date, Catalogue], str]] = {
    "clinic": _clinic,
    "phone": _phone,
    "day": _day,
}


def _refuse(why: str, names: frozenset[str]) -> None:
    if names:
        raise ValueError(f"{why} the fact {', '.join(sorted(names))}")
