"""What the invented families write is read as it is meant, in every language whose replies the program reads."""

import pytest

from bracewatch.demo.families import Family, Saying, shipped
from bracewatch.messages.kinds import Asked, Meaning
from bracewatch.messages.replies import languages, understand

PROGRAMME = shipped()
SAYINGS = [
    pytest.param(family, saying, id=f"{family.key} on day {saying.day} at {saying.at:%H.%M}")
    for family in PROGRAMME.families
    for saying in family.says
    if family.caregiver.language in languages()
]
# Whoever writes these, and what about, is the cast of the practice: each is meant to be shown on some page.
MEANT = {
    "f10": (Meaning.CALL_ME, None),
    "f11": (Meaning.TROUBLE, "skin"),
    "f12": (Meaning.CALL_ME, None),
    "f14": (Meaning.NOT_COMING, None),
    "f15": (Meaning.UNREAD, None),
    "f22": (Meaning.TROUBLE, "toes"),
    "f29": (Meaning.STOP, None),
    "f36": (Meaning.TROUBLE, "broken"),
    "f44": (Meaning.MOVED, None),
}


def test_the_cast_is_whole() -> None:
    assert {family.key for family in PROGRAMME.families if family.says} == set(MEANT)


@pytest.mark.parametrize(("family", "saying"), SAYINGS)
def test_a_message_is_read_as_it_is_meant(family: Family, saying: Saying) -> None:
    reading = understand(saying.text, language=family.caregiver.language, asked=Asked.NOTHING)
    meaning, about = MEANT[family.key]
    assert reading.meaning is meaning
    assert about is None or reading.about == about


@pytest.mark.parametrize("language", sorted(set(languages()) & set(PROGRAMME.phrases)))
@pytest.mark.parametrize(("asked", "most"), [(Asked.HOURS, 24), (Asked.NIGHTS, 7)])
def test_every_figure_in_words_is_read_as_that_figure(language: str, asked: Asked, most: int) -> None:
    for figure in range(most + 1):
        for text in PROGRAMME.phrases[language].ways_to_say(asked, figure):
            reading = understand(text, language=language, asked=asked)
            assert (reading.meaning.value, reading.value) == (asked.value, (figure, figure)), text
