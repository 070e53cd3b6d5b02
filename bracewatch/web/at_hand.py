"""What a request has at hand: the store, the clock, and the practice clinic behind it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, cast

from flask import Flask, abort, current_app, request, session

from bracewatch.store import Store
from bracewatch.store.pages import Clinic

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


def chosen_clinic(clinics: list[Clinic]) -> Clinic | None:
    """The clinic named by `?clinic=key`; None when none is named. Answers 404 for a clinic there is not."""
    key = request.args.get("clinic")
    if not key:
        return None
    clinic = next((clinic for clinic in clinics if clinic.key == key), None)
    if clinic is None:
        abort(404)
    return clinic


def given_name() -> str:
    """Who filled this form in, as its field "by" says; remembered, so that it need not be typed again."""
    name = " ".join(request.form.get("by", "").split())
    if name:
        session["by"] = name[:100]
    return name


def remembered_name() -> str:
    """Who filled a form in last from this browser; empty for nobody yet."""
    return str(session.get("by", ""))


def _at_hand() -> _AtHand:
    return cast(_AtHand, current_app.extensions[_NAME])
