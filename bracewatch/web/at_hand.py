"""What a request has at hand: the store, the clock, and the practice clinic behind it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, cast

from flask import Flask, current_app

from bracewatch.store import Store

_NAME = "bracewatch"


class PracticeDesk(Protocol):
    """The practice clinic, as the pages drive it."""

    def now(self) -> datetime:
        """The practice clock, an aware datetime."""

    def tick(self) -> None:
        """Review and send what is due now."""

    def to_next_morning(self) -> None:
        """Move the practice clock to the next morning (06:00 in UTC) and play what happens until then."""

    def by_hand(self, child_id: int) -> bool:
        """Whether somebody at the screen answers for this family."""

    def take_over(self, child_id: int) -> None:
        """From now on somebody at the screen answers for this family: its scripted replies stop."""


@dataclass(frozen=True, slots=True)
class _AtHand:
    store: Store
    clock: Callable[[], datetime]
    practice: PracticeDesk


def lay_out(app: Flask, store: Store, clock: Callable[[], datetime], practice: PracticeDesk) -> None:
    """Give the pages of `app` what they work with."""
    app.extensions[_NAME] = _AtHand(store, clock, practice)


def store() -> Store:
    """The store of the app that answers this request."""
    return _at_hand().store


def now() -> datetime:
    """The time by the app's clock, an aware datetime."""
    return _at_hand().clock()


def practice() -> PracticeDesk:
    """The practice clinic of the app that answers this request."""
    return _at_hand().practice


def settle() -> None:
    """After a change: have the practice clinic review and send what follows from it, so that the next page shows it."""
    practice().tick()


def _at_hand() -> _AtHand:
    return cast(_AtHand, current_app.extensions[_NAME])
