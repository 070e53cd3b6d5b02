"""The languages the texts are shipped in: one folder in `locale/` each, described by Unicode locale data."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal, cast

from babel import Locale, UnknownLocaleError

Direction = Literal["ltr", "rtl"]

LOCALE_FOLDER = Path(__file__).with_name("locale")


@dataclass(frozen=True, slots=True)
class Language:
    """One language: its `code` ("sw", "pt_BR"), its name in itself ("Kiswahili"), the way it is written."""

    code: str
    name: str
    direction: Direction


def describe(code: str) -> Language:
    """The language of a locale code, from Babel's copy of the Unicode locale data (CLDR).

    Raises ValueError when CLDR does not know the code: dates could then not be worded in it.
    """
    try:
        locale = Locale.parse(code)
    except (UnknownLocaleError, ValueError) as error:
        raise ValueError(
            f"language {code!r} is not known to the Unicode locale data: name its folder by a CLDR code, "
            "such as 'sw' or 'pt_BR'"
        ) from error
    return Language(code, locale.get_display_name(locale) or code, cast(Direction, locale.text_direction))


def shipped(folder: Path) -> Mapping[str, Language]:
    """Every language with a catalogue `CODE/LC_MESSAGES/messages.po` in `folder`, by code, in order of code.

    Raises ValueError for a folder whose name is no language code.
    """
    codes = sorted(path.parent.parent.name for path in folder.glob("*/LC_MESSAGES/messages.po"))
    return MappingProxyType({code: describe(code) for code in codes})


LANGUAGES: Mapping[str, Language] = shipped(LOCALE_FOLDER)


def shipped_language(code: str) -> Language:
    """The shipped language of `code`. Raises ValueError, naming the shipped ones, for any other."""
    try:
        return LANGUAGES[code]
    except KeyError:
        raise ValueError(f"no texts in language {code!r}: shipped are {', '.join(LANGUAGES)}") from None
