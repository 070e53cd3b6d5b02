"""The practice phone: what an invented caregiver sees, and what the clinic makes of the answer."""

from __future__ import annotations

import re
import secrets

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from bracewatch.messages import wording
from bracewatch.messages.adapter import BODY_LIMIT
from bracewatch.messages.kinds import Asked
from bracewatch.services import inbox
from bracewatch.store import pages
from bracewatch.web import at_hand
from bracewatch.web.cards import in_card_order
from bracewatch.web.words import phone

desk = Blueprint("practice", __name__, url_prefix="/practice")

FAMILIES_A_PAGE = 50
LINES_SHOWN = 30

Answer = str | Response | tuple[str, int]

_FIGURES = {Asked.HOURS: ("23", "20", "8"), Asked.NIGHTS: ("7", "5", "2")}


@desk.get("")
def choose() -> Answer:
    """Whose phone to pick up."""
    sought = " ".join(request.args.get("q", "").split())[:100]
    with at_hand.store().read() as connection:
        found, total = pages.find(connection, sought, None, limit=FAMILIES_A_PAGE)
        families = pages.families(connection, found)
        sent = pages.last_sent(connection, found)
        clinics = pages.clinics(connection)
    return render_template(
        "practice/choose.html",
        now=at_hand.now(),
        clinics=clinics,
        families=[families[child_id] for child_id in found if child_id in families],
        sent=sent,
        sought=sought,
        total=total,
    )


@desk.get("/<row:child_id>")
def hold(child_id: int) -> Answer:
    """One family's phone, and beside it what the clinic sees."""
    return _show(child_id)


@desk.post("/<row:child_id>/reply")
def reply(child_id: int) -> Answer:
    """The caregiver answers."""
    body = request.form.get("body", "")
    if not body.strip():
        return _show(child_id, typed=body, error="The message is empty: write an answer, or press one below.")
    if len(body) > BODY_LIMIT:
        error = f"The message has {len(body)} characters, a phone sends {BODY_LIMIT} at most: shorten it."
        return _show(child_id, typed=body, error=error)
    person = _family(child_id).people[0]
    practice = at_hand.practice()
    if not practice.by_hand(child_id):
        practice.take_over(child_id)
    at_hand.settle()  # the question that is due goes out before its answer comes in
    inbox.receive(
        at_hand.store(),
        sid=f"by-hand-{_press()}",
        phone=person.phone,
        body=body,
        received_at=at_hand.now(),
    )
    at_hand.settle()
    return redirect(url_for("practice.hold", child_id=child_id, _anchor="phone"))


def _press() -> str:
    """The mark of the button that was pressed: a second press of the same one is the same answer."""
    mark = request.form.get("press", "")
    return mark if re.fullmatch(r"[0-9a-f]{32}", mark, re.ASCII) else secrets.token_hex(16)


@desk.post("/next-morning")
def next_morning() -> Answer:
    """Let the practice clinic's clock run to the next morning; a second press of the same button does nothing."""
    if request.form.get("seen") in (None, at_hand.now().date().isoformat()):
        at_hand.practice().to_next_morning()
    flash("It is the next morning: what was due until now has been sent, and families have answered.", "done")
    child_id = request.args.get("child", type=int)
    if child_id is not None:
        return redirect(url_for("practice.hold", child_id=child_id))
    return redirect(url_for("practice.choose"))


def _family(child_id: int) -> pages.Family:
    with at_hand.store().read() as connection:
        family = pages.families(connection, [child_id]).get(child_id)
    if family is None:
        abort(404)
    return family


def _show(child_id: int, *, typed: str = "", error: str | None = None) -> Answer:
    family = _family(child_id)
    person = family.people[0]
    with at_hand.store().read() as connection:
        thread = pages.thread(connection, child_id, latest=LINES_SHOWN)
        flags = in_card_order(pages.standing_flags(connection, [child_id]).get(child_id, ()))
    lines = [line for line in thread if isinstance(line, pages.Reply) or line.state == "sent"]
    shown = render_template(
        "practice/phone.html",
        now=at_hand.now(),
        family=family,
        person=person,
        lines=lines,
        last_reply=next((line for line in reversed(lines) if isinstance(line, pages.Reply)), None),
        flags=flags,
        quick=_quick_replies(person, lines),
        by_hand=at_hand.practice().by_hand(child_id),
        typed=typed,
        error=error,
        most=BODY_LIMIT,
        number=phone(person.phone),
        press=secrets.token_hex(16),
    )
    return (shown, 422) if error else shown


def _quick_replies(person: pages.Person, lines: list[pages.Sent | pages.Reply]) -> list[str]:
    """Answers that fit the last question, in the caregiver's language; then the words that always work."""
    asked = next(
        (line.asks for line in reversed(lines) if isinstance(line, pages.Sent) and line.asks is not Asked.NOTHING),
        Asked.NOTHING,
    )
    known = wording.reply_words(person.language)
    fitting = [known["YES"], known["NO"]] if asked is Asked.COMING else list(_FIGURES.get(asked, ()))
    return [*fitting, known["CALL"], known["START" if person.stopped_at else "STOP"]]
