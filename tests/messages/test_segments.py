"""What must hold of every text's segments, and of the plain form of our own texts."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.messages.segments import Segments, measure, plain

GSM = st.text(alphabet="ab é@Ç\n€[]^", max_size=400)
WIDE = st.text(alphabet="abжहع😀€", max_size=200)
ANY = st.text(max_size=300)


def parts_by_the_octet(text: str) -> int:
    """A second way to count: cut the coded text where a part is full, one place earlier inside a character."""
    if measure(text).encoding == "GSM-7":
        coded: list[object] = []
        for character in text:
            coded += ["escape", character] if character in "€[]^" else [character]
        single, room, opens = 160, 153, lambda unit: unit == "escape"
    else:
        octets = text.encode("utf-16-be")
        coded = [int.from_bytes(octets[at : at + 2], "big") for at in range(0, len(octets), 2)]
        single, room, opens = 70, 67, lambda unit: 0xD800 <= unit <= 0xDBFF
    if len(coded) <= single:
        return 1 if coded else 0
    parts = 0
    while coded:
        cut = room - 1 if len(coded) > room and opens(coded[room - 1]) else room
        coded, parts = coded[cut:], parts + 1
    return parts


@given(st.one_of(GSM, WIDE))
def test_parts_agree_with_cutting_the_coded_text(text: str) -> None:
    assert measure(text).parts == parts_by_the_octet(text)


@given(ANY, ANY)
def test_a_longer_text_never_needs_fewer_parts(text: str, more: str) -> None:
    assert measure(text + more).parts >= measure(text).parts


@pytest.mark.parametrize("texts", [GSM, WIDE.map(lambda text: "ж" + text)])
def test_units_add_up_and_joining_costs_at_most_one_part(texts: st.SearchStrategy[str]) -> None:
    @given(texts, texts)
    def check(first: str, second: str) -> None:
        one, two, both = measure(first), measure(second), measure(first + second)
        assert both.units == one.units + two.units
        assert both.parts <= one.parts + two.parts + 1

    check()


@given(ANY)
def test_parts_lie_between_the_bounds_their_units_set(text: str) -> None:
    sent = measure(text)
    single, room = (160, 153) if sent.encoding == "GSM-7" else (70, 67)
    if sent.units <= single:
        assert sent.parts == (1 if text else 0)
    else:
        assert -(-sent.units // room) <= sent.parts <= -(-sent.units // (room - 1))


def test_an_empty_text_is_no_part() -> None:
    assert measure("") == Segments("GSM-7", 0, 0)


def test_one_arabic_letter_makes_the_whole_text_ucs_2() -> None:
    assert measure("boots ج") == Segments("UCS-2", 7, 1)


def test_half_a_surrogate_pair_is_refused() -> None:
    with pytest.raises(ValueError, match=r"half a surrogate pair \(U\+D83D\)"):
        measure("boots \ud83d")


@pytest.mark.parametrize(
    ("written", "plainly"),
    [
        ("‘St. Mary’s’", "'St. Mary's'"),
        ("“boots”", '"boots"'),
        ("«boots»", '"boots"'),
        ("0–24 — hours − off‑day", "0-24 - hours - off-day"),
        ("call\u00a00712\u202f345", "call 0712 345"),
        ("wait…", "wait..."),
        ("boo\u00adts", "boots"),
        ("e\u0301", "é"),
    ],
)
def test_a_look_alike_is_put_in_its_plain_form(written: str, plainly: str) -> None:
    assert plain(written) == plainly
    assert measure(plain(written)).encoding == "GSM-7"


@pytest.mark.parametrize("text", ["من العيادة: كم ساعة؟", "जूते कितने घंटे पहने?", "ng'ombe", "ç", "क्‍ष"])
def test_letters_of_any_script_stay_as_they_are(text: str) -> None:
    assert plain(text) == text


@given(ANY)
def test_the_plain_form_of_a_plain_text_is_itself(text: str) -> None:
    assert plain(plain(text)) == plain(text)


@given(ANY)
def test_the_plain_form_never_moves_a_text_out_of_gsm_7(text: str) -> None:
    if measure(text).encoding == "GSM-7":
        assert measure(plain(text)) == measure(text)
