"""Segments against 3GPP TS 23.038 (alphabets) and TS 23.040 (chained texts).

TS 23.038 clauses 6.2.1 and 6.2.1.1: READ-2, the tables as the Unicode consortium's GSM0338.TXT gives them; for
code 0x09 that file offers both cedillas and the specification draws the capital one.
TS 23.040 clause 9.2.3.24.1: READ-2, V18.0.0 as reproduced by a specification index: 153 (160-7) characters,
67 ((140-6)/2) UCS-2 characters, an escape sequence is not split in the middle, at most 255 parts, so
39015 and 17085 characters.
"""

import unicodedata

import pytest

from bracewatch.messages.segments import Segments, measure

# TS 23.038 clause 6.2.1, READ-2: only the codes whose character is not that of ASCII.
UNLIKE_ASCII = {
    **dict(enumerate("@£$¥èéùìòÇ")),
    0x0B: "Ø",
    0x0C: "ø",
    0x0E: "Å",
    0x0F: "å",
    **dict(enumerate("Δ_ΦΓΛΩΠΨΣΘΞ", start=0x10)),
    0x1C: "Æ",
    0x1D: "æ",
    0x1E: "ß",
    0x1F: "É",
    0x24: "¤",
    0x40: "¡",
    **dict(enumerate("ÄÖÑÜ§¿", start=0x5B)),
    **dict(enumerate("äöñüà", start=0x7B)),
}
ESCAPE = 0x1B
DEFAULT_TABLE = [UNLIKE_ASCII.get(code, chr(code)) for code in range(0x80) if code != ESCAPE]
EXTENSION_TABLE = "\f^{}\\[~]|€"  # TS 23.038 clause 6.2.1.1, READ-2


def test_the_default_alphabet_has_127_characters_of_one_septet() -> None:
    assert len(set(DEFAULT_TABLE)) == 127
    assert {measure(character) for character in DEFAULT_TABLE} == {Segments("GSM-7", 1, 1)}


def test_the_extension_table_has_ten_characters_of_two_septets() -> None:
    assert len(set(EXTENSION_TABLE)) == 10
    assert {measure(character) for character in EXTENSION_TABLE} == {Segments("GSM-7", 2, 1)}


def test_every_other_character_of_the_basic_plane_forces_ucs_2() -> None:
    known = {*DEFAULT_TABLE, *EXTENSION_TABLE}
    others = [chr(code) for code in range(0x10000) if not 0xD800 <= code <= 0xDFFF]
    others = [character for character in others if unicodedata.normalize("NFC", character) not in known]
    assert {measure(character).encoding for character in others} == {"UCS-2"}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param("a" * 160, Segments("GSM-7", 160, 1), id="160 septets fit one text"),
        pytest.param("a" * 161, Segments("GSM-7", 161, 2), id="161 septets are chained"),
        pytest.param("a" * 306, Segments("GSM-7", 306, 2), id="2 x 153 septets fit two parts"),
        pytest.param("a" * 307, Segments("GSM-7", 307, 3), id="307 septets need three parts"),
        pytest.param("ж" * 70, Segments("UCS-2", 70, 1), id="70 units fit one text"),
        pytest.param("ж" * 71, Segments("UCS-2", 71, 2), id="71 units are chained"),
        pytest.param("ж" * 134, Segments("UCS-2", 134, 2), id="2 x 67 units fit two parts"),
        pytest.param("ж" * 135, Segments("UCS-2", 135, 3), id="135 units need three parts"),
        pytest.param("a" * 39015, Segments("GSM-7", 39015, 255), id="39015 septets are 255 parts"),
        pytest.param("ж" * 17085, Segments("UCS-2", 17085, 255), id="17085 units are 255 parts"),
        pytest.param("€" * 80, Segments("GSM-7", 160, 1), id="80 euro signs fit one text"),
        pytest.param("a" * 159 + "€", Segments("GSM-7", 161, 2), id="a euro sign past 160 chains"),
    ],
)
def test_lengths_follow_ts_23_040(text: str, expected: Segments) -> None:
    assert measure(text) == expected  # TS 23.040 clause 9.2.3.24.1, READ-2


def test_an_escape_sequence_is_not_split_between_parts() -> None:
    text = "a" * 152 + "€" + "a" * 152
    assert measure(text) == Segments("GSM-7", 306, 3)  # TS 23.040 clause 9.2.3.24.1, READ-2 + CALC


def test_a_surrogate_pair_is_not_split_between_parts() -> None:
    text = "ж" * 66 + "😀" + "ж" * 66
    assert measure(text) == Segments("UCS-2", 134, 3)  # TS 23.040 clause 9.2.3.24.1, READ-2 + CALC


def test_a_pair_that_ends_a_part_exactly_costs_no_more() -> None:
    assert measure("ж" * 65 + "😀" + "ж" * 67) == Segments("UCS-2", 134, 2)  # TS 23.040, CALC
    assert measure("a" * 151 + "€" + "a" * 153) == Segments("GSM-7", 306, 2)  # TS 23.040, CALC


def test_capital_c_cedilla_is_in_the_alphabet_and_small_is_not() -> None:
    assert measure("Ç").encoding == "GSM-7"  # TS 23.038 clause 6.2.1, code 0x09, READ-2
    assert measure("ç").encoding == "UCS-2"


def test_a_letter_with_a_loose_accent_is_measured_composed() -> None:
    assert measure("e\u0301") == measure("é") == Segments("GSM-7", 1, 1)  # TS 23.038, READ-2; Unicode NFC
