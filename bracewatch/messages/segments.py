"""How a text travels over the phone network: its alphabet, its length, and how many parts it is billed as.

Alphabets are those of 3GPP TS 23.038 (default alphabet and extension table), parts those of
3GPP TS 23.040 clause 9.2.3.24.1 (a 6-octet header in each part of a chained text).
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Encoding = Literal["GSM-7", "UCS-2"]

# TS 23.038 clause 6.2.1, in code order; the escape at 0x1B stands for no character and is left out.
# Capital Ç is in the table, small ç is not.
_GSM_DEFAULT = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅå"
    "Δ_ΦΓΛΩΠΨΣΘΞÆæßÉ"
    " !\"#¤%&'()*+,-./"
    "0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNO"
    "PQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmno"
    "pqrstuvwxyzäöñüà"
)
# TS 23.038 clause 6.2.1.1: each of these is sent as the escape and one more septet.
_GSM_EXTENSION = frozenset("\f^{}\\[~]|€")

# Units a single text carries, and units each part of a chained text carries after its header.
_SINGLE: dict[Encoding, int] = {"GSM-7": 160, "UCS-2": 70}
_CHAINED: dict[Encoding, int] = {"GSM-7": 153, "UCS-2": 67}

# Look-alikes that word processors put in and that would turn a GSM-7 text into UCS-2.
_PLAIN = str.maketrans(
    dict.fromkeys("‘’‚‛′ʼ´`", "'")
    | dict.fromkeys("“”„‟″«»", '"')
    | dict.fromkeys("‐‑‒–—―−", "-")
    | dict.fromkeys("\u00a0\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f", " ")
    | {"…": "...", "\u00ad": ""}
)


@dataclass(frozen=True, slots=True)
class Segments:
    """What one text costs to send.

    `units` are septets for GSM-7 and UTF-16 code units for UCS-2; `parts` is the number of texts billed.
    """

    encoding: Encoding
    units: int
    parts: int


def measure(text: str) -> Segments:
    """Encoding, units and parts of `text` after NFC, as it would be sent. Empty: GSM-7, 0 units, 0 parts.

    A two-septet character or a surrogate pair never straddles two parts, so a text may need one part more
    than its units alone suggest. Raises ValueError for half a surrogate pair, which no phone can show.
    Source: 3GPP TS 23.038 clause 6.2.1, TS 23.040 clause 9.2.3.24.1.
    """
    text = unicodedata.normalize("NFC", text)
    encoding: Encoding
    if all(character in _GSM_DEFAULT or character in _GSM_EXTENSION for character in text):
        encoding = "GSM-7"
        costs = [2 if character in _GSM_EXTENSION else 1 for character in text]
    else:
        encoding = "UCS-2"
        costs = [_utf16_units(character) for character in text]
    units = sum(costs)
    if units <= _SINGLE[encoding]:
        return Segments(encoding, units, 1 if units else 0)
    return Segments(encoding, units, _chained_parts(costs, _CHAINED[encoding]))


def plain(text: str) -> str:
    """`text` in NFC with curly quotes, dashes, dots and odd spaces put in their GSM-7 form; soft hyphens go.

    For texts we write ourselves: one curly quote would more than double the price of an English text.
    Letters are never changed.
    """
    return unicodedata.normalize("NFC", text.translate(_PLAIN))


def _utf16_units(character: str) -> int:
    if "\ud800" <= character <= "\udfff":
        raise ValueError(
            f"the text holds half a surrogate pair (U+{ord(character):04X}), which cannot be sent: "
            "write the text again without that character"
        )
    return 2 if ord(character) > 0xFFFF else 1


def _chained_parts(costs: Iterable[int], room: int) -> int:
    """Parts needed when each holds `room` units and no character is split between two parts."""
    parts, used = 1, 0
    for cost in costs:
        if used + cost > room:
            parts, used = parts + 1, 0
        used += cost
    return parts
