"""The stop switch, what became of the messages, the ones nobody can account for, and what they cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from sqlalchemy import Connection
from werkzeug.wrappers import Response

from bracewatch.rates.wording import month_in_words
from bracewatch.schedule.local_time import instant, local_day
from bracewatch.schedule.spans import add_months
from bracewatch.services import prices, stopping, unknowns
from bracewatch.store import pages, traffic
from bracewatch.store.traffic import FamilyHanded, Handed
from bracewatch.web import at_hand, notices

desk = Blueprint("sending", __name__)

LOOKED_FOR = timedelta(minutes=10)  # a message in doubt is looked up meanwhile; then a person may say what became of it
UNSENT_LOOKS_BACK = timedelta(days=30)
MONTHS_SHOWN = 12
LOST_SHOWN = 50
FAMILIES_SHOWN = 10
ALL = "all"

Answer = str | Response | tuple[str, int]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a form was refused, and what had been entered in it. `form` is "stop", "lift-1" (a stop's
    number), "settle" or "price"."""

    form: str
    faults: Sequence[str]
    typed: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Month:
    name: str
    handed: Handed


@dataclass(frozen=True, slots=True)
class Cost:
    """What a clinic's messages came to: month by month, the latest first, and the families with the most this month."""

    months: Sequence[Month]
    families: Sequence[FamilyHanded]


@desk.get("/sending")
def page() -> Answer:
    """Whether messages go out, what became of them, and what they cost."""
    return _show(None)


@desk.post("/sending/stop")
def stop() -> Answer:
    """Press the switch, for a clinic or for all."""
    where, why, by = request.form.get("where", ""), request.form.get("why", ""), at_hand.given_name()
    clinic = None if where == ALL else _clinic_or_404(where)
    faults = [] if by else ["your name is missing: it stands beside the stop, for everybody to see"]
    faults += [] if why.strip() else ["the reason is missing: others must know when they may start again"]
    if faults:
        return _show(Trouble("stop", faults, {"where": where, "why": why})), 422
    stopping.stop_sending(
        at_hand.store(), clinic_id=clinic.id if clinic else None, why=_ended(why), by=by, now=at_hand.now()
    )
    flash(f"Stopped: nothing is sent for {clinic.name if clinic else 'all clinics'}.", "done")
    return redirect(_here())


@desk.post("/sending/stops/<row:stop_id>/lifted")
def lift(stop_id: int) -> Answer:
    """Let messages go out again, once somebody has said that the reason is gone."""
    by = at_hand.given_name()
    faults = [] if by else ["your name is missing: it is kept with the end of the stop"]
    faults += [] if "sure" in request.form else ["tick that the reason is gone: what waits is sent at once"]
    if not faults:
        try:
            stopping.lift_stop(at_hand.store(), stop_id, by=by, now=at_hand.now())
        except stopping.StopRefused as refusal:
            faults = [str(refusal)]
    if faults:
        return _show(Trouble(f"lift-{stop_id}", faults, {})), 422
    at_hand.settle()
    flash("Started again: what waited and still helps is sent.", "done")
    return redirect(_here())


@desk.post("/sending/messages")
def settle() -> Answer:
    """A person says whether a message arrived of which nobody knew."""
    by = at_hand.given_name()
    arrived = "arrived" in request.form
    message_id = request.form.get("arrived" if arrived else "lost", type=int)
    with at_hand.store().read() as connection:
        known = message_id is not None and traffic.clinic_of(connection, message_id) is not None
    if not known or message_id is None:
        abort(404)
    try:
        unknowns.settle(at_hand.store(), message_id, arrived=arrived, by=by, now=at_hand.now())
    except unknowns.NotOpen as refusal:
        fault = str(refusal) if by else "your name is missing: it is kept with what you say"
        return _show(Trouble("settle", [fault], {})), 422
    at_hand.settle()
    flash(
        "Noted: the message arrived."
        if arrived
        else "Noted: the message did not arrive. It is sent again if it still helps.",
        "done",
    )
    return redirect(_here("unknown"))


@desk.post("/sending/price/<clinic_key>")
def price(clinic_key: str) -> Answer:
    """Keep what one part of a text costs the clinic."""
    clinic = _clinic_or_404(clinic_key)
    typed = {name: request.form.get(name, "") for name in ("price", "currency")}
    try:
        prices.set_part_price(at_hand.store(), clinic.id, typed["price"], typed["currency"])
    except prices.PriceRefused as refusal:
        return _show(Trouble("price", refusal.faults, typed), clinic), 422
    flash("Kept: costs are estimated with this price.", "done")
    return redirect(url_for("sending.page", clinic=clinic.key, _anchor="cost"))


def _show(trouble: Trouble | None, shown: pages.Clinic | None = None) -> str:
    now = at_hand.now()
    with at_hand.store().read() as connection:
        clinics = pages.clinics(connection)
        clinic = shown or at_hand.chosen_clinic(clinics) or (clinics[0] if len(clinics) == 1 else None)
        zone = clinic.zone if clinic else next((each.zone for each in clinics), "UTC")
        clinic_id = clinic.id if clinic else None
        counted = traffic.traffic(
            connection,
            clinic_id,
            sent_since=instant(local_day(now, zone), time(0), zone),
            unsent_since=now - UNSENT_LOOKS_BACK,
        )
        lost, lost_in_all = traffic.lost(connection, clinic_id, doubted_before=now - LOOKED_FOR, limit=LOST_SHOWN)
        cost = _cost(connection, clinic, now) if clinic else None
    stops = [
        each
        for each in notices.standing_notices().stops
        if clinic is None or each.clinic is None or each.clinic.id == clinic.id
    ]
    forms = ["stop", "price", *(f"lift-{each.id}" for each in stops), *(["settle"] if lost else [])]
    return render_template(
        "sending/page.html",
        forms=forms,
        now=now,
        clinics=clinics,
        clinic=clinic,
        by_id={each.id: each for each in clinics},
        zone=zone,
        stops=stops,
        traffic=counted,
        lost=lost,
        lost_in_all=lost_in_all,
        cost=cost,
        trouble=trouble,
        all=ALL,
        name=at_hand.remembered_name(),
    )


def _cost(connection: Connection, clinic: pages.Clinic, now: datetime) -> Cost:
    today = local_day(now, clinic.zone)
    first = today.replace(day=1)

    def begins(day: date) -> datetime:
        return instant(day, time(0), clinic.zone)

    starts = [add_months(first, -back) for back in range(MONTHS_SHOWN)]
    handed = traffic.handed_by_month(
        connection, clinic.id, [(start, begins(start), begins(add_months(start, 1))) for start in starts]
    )
    told = [start for start in starts if handed[start].messages or start == first]
    return Cost(
        [Month(month_in_words(start), handed[start]) for start in told],
        traffic.handed_by_family(connection, clinic.id, begins(first), FAMILIES_SHOWN),
    )


def _ended(why: str) -> str:
    """The reason as a sentence: it is read in the middle of others."""
    why = " ".join(why.split())[:500]
    return why if why[-1] in ".!?" else f"{why}."


def _here(anchor: str | None = None) -> str:
    """Back to the page as it was cut to one clinic."""
    return url_for("sending.page", clinic=request.args.get("clinic"), _anchor=anchor)


def _clinic_or_404(key: str) -> pages.Clinic:
    with at_hand.store().read() as connection:
        clinic = next((clinic for clinic in pages.clinics(connection) if clinic.key == key), None)
    if clinic is None:
        abort(404)
    return clinic
