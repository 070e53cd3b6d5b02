"""A clinic's own wording: what may stand in it, and how it is worded."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.messages import wording
from bracewatch.messages.kinds import Kind
from bracewatch.messages.languages import LANGUAGES
from bracewatch.messages.segments import measure

CLINIC, PHONE = "Lakeside", "+254712345678"
EVERY_TEXT = [(kind, code) for kind in Kind for code in LANGUAGES]
every_text = pytest.mark.parametrize(("kind", "code"), EVERY_TEXT)


def faults(kind: Kind, text: str, language: str = "en") -> list[str]:
    return wording.faults_in_wording(kind, wording.from_braces(text), language=language, clinic=CLINIC, phone=PHONE)


def test_an_own_wording_is_filled_in_as_the_shipped_one_is() -> None:
    own = wording.from_braces("{clinic}: all well? {STOP} ends this. Toes blue? {phone} today.")
    text = wording.word(Kind.WELCOME, language="sw", wording=own, clinic=CLINIC, phone=PHONE)
    assert text == "Lakeside: all well? ACHA ends this. Toes blue? +254712345678 today."


def test_a_right_to_left_own_wording_shows_the_phone_in_order() -> None:
    own = wording.from_braces("من {clinic}: اتصلوا {phone}")
    assert "\u200e+254712345678" in wording.word(
        Kind.CALL_HEARD, language="ar", wording="من %(clinic)s", clinic=CLINIC
    ) + wording.word(Kind.TROUBLE_HEARD, language="ar", wording=own, clinic=CLINIC, phone=PHONE)


@every_text
def test_every_shipped_wording_would_be_accepted_as_an_own_one(kind: Kind, code: str) -> None:
    assert faults(kind, wording.in_braces(wording.shipped_wording(kind, code)), code) == []


@every_text
def test_the_form_in_braces_says_the_same(kind: Kind, code: str) -> None:
    shipped = wording.shipped_wording(kind, code)
    assert "%(" not in wording.in_braces(shipped)
    assert wording.from_braces(wording.in_braces(shipped)) == wording.plain(shipped)


@pytest.mark.parametrize(
    ("typed", "complaint"),
    [
        ("", "the text is empty"),
        (" \r\n ", "the text is empty"),
        ("Thank you.", "lacks {clinic}"),
        ("{clinic}: Thank you, {child}.", "has {child}, which nothing is put into"),
        ("{clinic}: 100% thanks", "has a percent sign"),
        ("{clinic}: Thank\tyou.", "U+0009"),
        ("{clinic}: Thank you \ud83d", "U+D83D"),
        ("{clinic}: " + "x" * 306, "takes 3 parts (GSM-7"),
        ("{clinic}: ж" + "x" * 130, "takes 3 parts (UCS-2"),
    ],
)
def test_a_wording_that_cannot_be_sent_is_refused_with_what_to_do(typed: str, complaint: str) -> None:
    (fault,) = faults(Kind.THANKS, typed)
    assert complaint in fault


def test_a_wording_that_can_be_sent_has_no_fault() -> None:
    assert faults(Kind.THANKS, "{clinic}: Thank you!") == []
    assert faults(Kind.THANKS, "{clinic}: " + "x" * (2 * 153 - len("Lakeside: "))) == []


def test_the_word_to_end_the_texts_cannot_be_left_out() -> None:
    (fault,) = faults(Kind.WELCOME, "{clinic}: Hello. Toes blue? {phone} today.")
    assert "lacks {STOP}" in fault
    assert "It needs {clinic}, {phone}, {STOP} and no other" in fault


def test_a_wording_with_other_placeholders_is_never_worded() -> None:
    with pytest.raises(ValueError, match=r"the wording of thanks lacks \{clinic\}"):
        wording.word(Kind.THANKS, language="en", wording="Thank you.", clinic=CLINIC)


def test_look_alikes_and_line_ends_are_put_in_their_plain_form() -> None:
    assert wording.from_braces(" {clinic}: “Thanks” \r\n– bye… ") == '%(clinic)s: "Thanks"\n- bye...'


@pytest.mark.parametrize("code", LANGUAGES)
def test_no_day_makes_a_text_dearer_than_the_longest_days_do(code: str) -> None:
    for kind in (Kind.VISIT_REMINDER, Kind.COMING_HEARD):
        facts = {"clinic": CLINIC, "phone": PHONE}
        needed = {name: value for name, value in facts.items() if name in wording.needed_facts(kind)}
        most = wording.at_its_longest(kind, language=code, clinic=CLINIC, phone=PHONE)
        days = (date(2024, 1, 1) + timedelta(days=number) for number in range(3 * 365))
        costs = [measure(wording.word(kind, language=code, **needed, day=day)) for day in days]
        assert max((cost.parts, cost.units) for cost in costs) == (most.parts, most.units)


@given(typed=st.text(max_size=200))
def test_whatever_is_typed_is_either_refused_or_can_be_worded(typed: str) -> None:
    own = wording.from_braces("{clinic}" + typed)
    if not wording.faults_in_wording(Kind.THANKS, own, language="en", clinic=CLINIC, phone=PHONE):
        text = wording.word(Kind.THANKS, language="en", wording=own, clinic=CLINIC)
        assert 1 <= measure(text).parts <= 2
