"""How shares and months are written where people read them."""

from __future__ import annotations

from datetime import date


def percent(share: float) -> str:
    """A share as in "62 %", the two kept together; "<1 %" and ">99 %" where it only rounds to none or all.

    Raises ValueError for a share that is not from 0 to 1.
    """
    if not 0 <= share <= 1:
        raise ValueError(f"a share goes from 0 to 1: {share!r}")
    whole = round(share * 100)
    if whole == 0 and share > 0:
        return "<1\N{NO-BREAK SPACE}%"
    if whole == 100 and share < 1:
        return ">99\N{NO-BREAK SPACE}%"
    return f"{whole}\N{NO-BREAK SPACE}%"


def month_in_words(month: date) -> str:
    """As in "October 2026"."""
    return f"{month:%B %Y}"


def month_in_short(month: date) -> str:
    """As in "Oct"."""
    return f"{month:%b}"
