"""Encoding and parts of texts, against what another program made of the same texts.

The other program is the npm package sms-segments-calculator 1.3.0 (MIT). CI has no npm, so its answers are kept in
segments_elsewhere.json beside this file; tools/count_segments.js makes them again. READ
"""

import json
from pathlib import Path

import pytest

from bracewatch.messages.segments import Segments, measure

BITS = {"GSM-7": 7, "UCS-2": 16}
# Where the two differ on purpose: it bills an empty text, and it keeps a letter and its mark in one part though the
# standard splits texts by units (3GPP TS 23.040 clause 9.2.3.24.1, READ-2).
DIFFER = {"": Segments("GSM-7", 0, 0), "ж" * 66 + "नी" + "ж" * 66: Segments("UCS-2", 134, 2)}

COUNTED = json.loads(Path(__file__).with_name("segments_elsewhere.json").read_text(encoding="utf-8"))


def test_the_texts_hold_both_encodings_and_one_to_many_parts() -> None:
    assert {(encoding, min(parts, 3)) for _, encoding, _, parts in COUNTED} == {
        (encoding, parts) for encoding in BITS for parts in (1, 2, 3)
    }
    assert len(COUNTED) > 250


@pytest.mark.parametrize(("text", "encoding", "bits", "parts"), [row for row in COUNTED if row[0] not in DIFFER])
def test_a_text_is_counted_as_elsewhere(text: str, encoding: str, bits: int, parts: int) -> None:
    assert measure(text) == Segments(encoding, bits // BITS[encoding], parts)  # type: ignore[arg-type]


@pytest.mark.parametrize(("text", "ours"), DIFFER.items())
def test_where_the_two_differ_the_standard_decides(text: str, ours: Segments) -> None:
    theirs = next(row for row in COUNTED if row[0] == text)
    assert measure(text) == ours
    assert theirs[3] == ours.parts + 1
