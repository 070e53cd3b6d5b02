"""The clinic desk: whom to call and what came of it, the families, one family."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from sqlalchemy import Connection
from werkzeug.wrappers import Response

from bracewatch.review.flag import Urgency, in_words
from bracewatch.services import calls as call_service
from bracewatch.services import inbox, people, visits
from bracewatch.services.calls import CallOutcome, CallRefused
from bracewatch.services.visits import VisitRefused
from bracewatch.store import pages
from bracewatch.web import at_hand, words
from bracewatch.web.cards import call_list
from bracewatch.web.families import FAMILIES_A_PAGE, FamilyPage, Trouble, family_page, family_rows

desk = Blueprint("clinic", __name__)

URGENCIES = {"now": Urgency.NOW, "today": Urgency.TODAY, "week": Urgency.THIS_WEEK}
LINES_SHOWN = 40
UNBOOKED = "unbooked"  # what the form for a visit without a booking is about
FURTHEST_PAGE = 100_000

Answer = str | Response | tuple[str, int]


@desk.get("/calls")
def calls() -> Answer:
    """Whom to call, in order, and why."""
    now = at_hand.now()
    urgency = _chosen_urgency()
    page = _page()
    with at_hand.store().read() as connection:
        clinics = pages.clinics(connection)
        clinic = at_hand.chosen_clinic(clinics)
        shown = call_list(connection, now, clinic, urgency, page)
        unknown = pages.from_unknown_numbers(connection)
    if page > shown.pages:
        abort(404)
    return render_template(
        "clinic/calls.html",
        now=now,
        clinics=clinics,
        clinic=clinic,
        urgency=urgency,
        urgencies=URGENCIES,
        list=shown,
        page=page,
        unknown=unknown,
        outcomes=list(CallOutcome),
        kept=_kept_choices(),
    )


@desk.post("/calls/<row:child_id>")
def record_call(child_id: int) -> Answer:
    """Write a call down; back to the list, at the next card, or to the family it came from."""
    note = request.form.get("note", "")
    with at_hand.store().read() as connection:
        family = _family_or_404(connection, child_id)
    try:
        call_service.record(at_hand.store(), child_id, request.form.get("outcome", ""), at_hand.now(), note)
    except CallRefused as refusal:
        return _refused("The call was not recorded", refusal, {"note": note})
    at_hand.settle()
    flash(f"Recorded for {family.name}: {words.outcome(request.form['outcome']).lower()}.", "done")
    if request.args.get("back") == "family":
        return redirect(url_for("clinic.family", child_id=child_id))
    return redirect(_back_to_list(request.args.get("next", type=int)))


@desk.post("/replies/<row:reply_id>/dealt-with")
def deal_with_reply(reply_id: int) -> Answer:
    """A person has read a reply and done what it asked for."""
    with at_hand.store().read() as connection:
        known, child_id = pages.child_of_reply(connection, reply_id)
    if not known:
        abort(404)
    inbox.handle(at_hand.store(), reply_id, at_hand.now())
    at_hand.settle()
    flash("Noted: the reply was read and dealt with.", "done")
    if request.args.get("back") == "family" and child_id is not None:
        return redirect(url_for("clinic.family", child_id=child_id, _anchor="messages"))
    return redirect(_back_to_list(child_id))


@desk.get("/families")
def families() -> Answer:
    """Every family, to look one up by a name or the last digits of a phone."""
    now = at_hand.now()
    page = _page()
    sought = " ".join(request.args.get("q", "").split())[:100]
    with at_hand.store().read() as connection:
        clinics = pages.clinics(connection)
        clinic = at_hand.chosen_clinic(clinics)
        found, total = pages.find(
            connection,
            sought,
            clinic.id if clinic else None,
            limit=FAMILIES_A_PAGE,
            offset=(page - 1) * FAMILIES_A_PAGE,
        )
        rows = family_rows(connection, found, now)
    last_page = max(-(-total // FAMILIES_A_PAGE), 1)
    if page > last_page:
        abort(404)
    return render_template(
        "clinic/families.html",
        now=now,
        clinics=clinics,
        clinic=clinic,
        sought=sought,
        rows=rows,
        total=total,
        page=page,
        last_page=last_page,
    )


@desk.get("/family/<row:child_id>")
def family(child_id: int) -> Answer:
    """One family: timeline, wear, visits, messages, flags, calls."""
    return _show_family(child_id, None)


@desk.post("/family/<row:child_id>/visits/<visit_key>/kept")
def keep_visit(child_id: int, visit_key: str) -> Answer:
    """The child came to a visit; perhaps the clinic decided there."""
    typed, decided = request.form.get("day", ""), "decided" in request.form
    try:
        on = words.read_day(typed)
        visits.record_kept(at_hand.store(), child_id, visit_key, on, at_hand.now(), opens_gate=decided)
    except (ValueError, VisitRefused) as refusal:
        return _show_family(child_id, Trouble("kept", visit_key, typed, decided, str(refusal)))
    at_hand.settle()
    and_decided = ", and the clinic decided to step down" if decided else ""
    flash(f"Recorded: the child came on {in_words(on)}{and_decided}.", "done")
    return redirect(url_for("clinic.family", child_id=child_id, _anchor="visits"))


@desk.post("/family/<row:child_id>/visits/<visit_key>/moved")
def move_visit(child_id: int, visit_key: str) -> Answer:
    """Give a visit another day."""
    typed = request.form.get("day", "")
    try:
        to = words.read_day(typed)
        visits.move(at_hand.store(), child_id, visit_key, to, at_hand.now())
    except (ValueError, VisitRefused) as refusal:
        return _show_family(child_id, Trouble("moved", visit_key, typed, False, str(refusal)))
    at_hand.settle()
    flash(f"The visit is now on {in_words(to)}; the family is reminded of that day.", "done")
    return redirect(url_for("clinic.family", child_id=child_id, _anchor="visits"))


@desk.post("/family/<row:child_id>/visits/unplanned")
def keep_unplanned(child_id: int) -> Answer:
    """The child came without a booking."""
    typed = request.form.get("day", "")
    try:
        on = words.read_day(typed)
        visits.record_unplanned(at_hand.store(), child_id, on, at_hand.now())
    except (ValueError, VisitRefused) as refusal:
        return _show_family(child_id, Trouble("unplanned", UNBOOKED, typed, False, str(refusal)))
    at_hand.settle()
    flash(f"Recorded: the child came without a booking on {in_words(on)}.", "done")
    return redirect(url_for("clinic.family", child_id=child_id, _anchor="visits"))


@desk.post("/family/<row:child_id>/decisions/<gate>/taken-back")
def take_decision_back(child_id: int, gate: str) -> Answer:
    """A step was ticked by mistake."""
    try:
        visits.take_decision_back(at_hand.store(), child_id, gate, at_hand.now())
    except VisitRefused as refusal:
        return _refused("Nothing was taken back", refusal, {})
    at_hand.settle()
    flash("Taken back: the hours from before the decision are in force again.", "done")
    return redirect(url_for("clinic.family", child_id=child_id, _anchor="visits"))


@desk.post("/family/<row:child_id>/people/<row:caregiver_id>/released")
def release(child_id: int, caregiver_id: int) -> Answer:
    """The number was put right, or the family wishes to hear from us: messages go out again."""
    with at_hand.store().read() as connection:
        family = _family_or_404(connection, child_id)
    if caregiver_id not in {person.id for person in family.people}:
        abort(404)
    changed = people.release(at_hand.store(), caregiver_id, at_hand.now())
    at_hand.settle()
    flash("Messages go out again." if changed else "Only the family's own word can begin messages again.", "done")
    return redirect(url_for("clinic.family", child_id=child_id))


def _show_family(child_id: int, trouble: Trouble | None) -> Answer:
    now = at_hand.now()
    every_line = request.args.get("thread") == "all"
    with at_hand.store().read() as connection:
        page: FamilyPage | None = family_page(connection, child_id, now, None if every_line else LINES_SHOWN)
    if page is None or (trouble is not None and trouble.visit_key not in (*page.visit_keys, UNBOOKED)):
        abort(404)
    shown = render_template(
        "clinic/family.html",
        now=now,
        page=page,
        trouble=trouble,
        outcomes=list(CallOutcome),
        every_line=every_line,
    )
    return (shown, 422) if trouble else shown


def _family_or_404(connection: Connection, child_id: int) -> pages.Family:
    family = pages.families(connection, [child_id]).get(child_id)
    if family is None:
        abort(404)
    return family


def _refused(title: str, why: Exception, typed: dict[str, str]) -> tuple[str, int]:
    reason = str(why)
    advice = f"{reason[0].upper()}{reason[1:]}. Go back and choose again."
    kept = {name: text for name, text in typed.items() if text.strip()}
    return render_template("shared/error.html", title=title, advice=advice, code=400, typed=kept), 400


def _back_to_list(child_id: int | None) -> str:
    return url_for("clinic.calls", _anchor=f"child-{child_id}" if child_id else None, **_kept_choices())


def _kept_choices() -> dict[str, Any]:
    """The part of the list that was chosen, to come back to it."""
    return {name: request.args[name] for name in ("clinic", "urgency", "page") if name in request.args}


def _chosen_urgency() -> Urgency | None:
    name = request.args.get("urgency")
    if name and name not in URGENCIES:
        abort(404)
    return URGENCIES[name] if name else None


def _page() -> int:
    page = request.args.get("page", 1, type=int)
    if not 1 <= page <= FURTHEST_PAGE:
        abort(404)
    return page
