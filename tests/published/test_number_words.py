"""Number words, against num2words (LGPL; a library for tests only): what it writes must be read as that number.

Checked are the shipped languages that it knows. For the others the words are from memory, as the corpora say.
"""

import pytest
from num2words import CONVERTER_CLASSES, num2words

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.messages.replies import Reading, languages, understand

CHECKED = [language for language in languages() if language in CONVERTER_CLASSES]
HOURS, NIGHTS = range(25), range(8)


def read(number: int, language: str, asked: Asked) -> Reading:
    return understand(num2words(number, lang=language), language=language, asked=asked)


def test_some_languages_are_checked() -> None:
    assert {"ar", "en"} <= set(CHECKED)


@pytest.mark.parametrize("language", CHECKED)
@pytest.mark.parametrize("number", HOURS)
def test_every_number_of_hours_is_read_in_words(language: str, number: int) -> None:
    reading = read(number, language, Asked.HOURS)
    assert (reading.meaning, reading.value, reading.next) == (Meaning.HOURS, (number, number), Next.KEEP)


@pytest.mark.parametrize("language", CHECKED)
@pytest.mark.parametrize("number", NIGHTS)
def test_every_number_of_nights_is_read_in_words(language: str, number: int) -> None:
    reading = read(number, language, Asked.NIGHTS)
    assert (reading.meaning, reading.value, reading.next) == (Meaning.NIGHTS, (number, number), Next.KEEP)


@pytest.mark.parametrize("language", CHECKED)
@pytest.mark.parametrize("number", [25, 26, 30, 40, 71, 100])
def test_more_than_a_day_has_is_not_kept_in_words_either(language: str, number: int) -> None:
    reading = read(number, language, Asked.HOURS)
    assert (reading.meaning, reading.value) == (Meaning.UNREAD, None)


@pytest.mark.parametrize("language", CHECKED)
@pytest.mark.parametrize("number", [8, 10, 24])
def test_more_nights_than_a_week_has_are_not_kept_in_words_either(language: str, number: int) -> None:
    reading = read(number, language, Asked.NIGHTS)
    assert (reading.meaning, reading.value) == (Meaning.UNREAD, None)
