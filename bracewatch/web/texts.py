"""The texts of a clinic: read in two languages side by side, approved, taken back, or worded anew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from sqlalchemy import Connection
from werkzeug.wrappers import Response

from bracewatch.messages import wording
from bracewatch.messages.kinds import Kind
from bracewatch.messages.languages import LANGUAGES
from bracewatch.messages.segments import Segments
from bracewatch.schedule.local_time import local_day
from bracewatch.services import texts
from bracewatch.services.approved import Text, drafts, texts_of
from bracewatch.services.texts import TextRefused
from bracewatch.store import pages
from bracewatch.store.texts import families_reading
from bracewatch.web import at_hand
from bracewatch.web.words import count

desk = Blueprint("texts", __name__)

BESIDE = "en"  # what a language is read beside, unless another was chosen
SHOWN_AHEAD = timedelta(days=14)  # the visit in the texts, as the page shows them

# What each text is called here, and what it is for.
PURPOSES: Mapping[Kind, tuple[str, str]] = {
    Kind.WELCOME: ("Welcome", "The first text, after the family has agreed to be written to."),
    Kind.CHECK_IN_HOURS: ("Check-in, hours", "Asks for yesterday’s hours, while hours by day count."),
    Kind.CHECK_IN_NIGHTS: ("Check-in, nights", "Asks for the last seven nights, later on."),
    Kind.VISIT_REMINDER: ("Visit reminder", "Some days before a visit."),
    Kind.MISSED_VISIT: ("After a missed visit", "When nobody came and the days of grace are over."),
    Kind.THANKS: ("Thanks", "Answers a figure, or anything that needs no more."),
    Kind.TROUBLE_HEARD: ("Trouble heard", "Answers trouble with skin, toes or boots; goes out by night too."),
    Kind.CALL_HEARD: ("Call heard", "Answers a wish for a call, and what a person has to read."),
    Kind.ASK_AGAIN_HOURS: ("Asked once more, hours", "When the answer to the question for hours was not understood."),
    Kind.ASK_AGAIN_NIGHTS: (
        "Asked once more, nights",
        "When the answer to the question for nights was not understood.",
    ),
    Kind.ASK_AGAIN: ("Asked once more, coming", "When the answer to a visit reminder was not understood."),
    Kind.HELP: ("Help", "Answers somebody who asks what this is."),
    Kind.STOPPED: ("Stopped", "Confirms that no more texts come; goes out by night too."),
    Kind.STARTED: ("Started again", "After the family asked for texts again."),
    Kind.NOT_COMING_HEARD: ("Cannot come, heard", "Answers a family that cannot come to its visit."),
    Kind.COMING_HEARD: ("Coming, heard", "Answers a family that will come to its visit."),
}
MEANS = {
    "clinic": "the clinic’s name",
    "phone": "the clinic’s number",
    "day": "the day of the visit",
    **{name: f"the word to send back ({name} in English)" for name in wording.REPLY_WORDS},
}

Answer = str | Response | tuple[str, int]


@dataclass(frozen=True, slots=True)
class Looks:
    """A wording as the family would see it, and what it costs on the day that makes it longest."""

    language: str
    body: str
    cost: Segments


@dataclass(frozen=True, slots=True)
class Pair:
    """One text in the language that is read, and in the one beside it (None: the same language)."""

    text: Text
    name: str
    purpose: str
    looks: Looks
    beside: Looks | None


@dataclass(frozen=True, slots=True)
class Preview:
    """What somebody has typed: how it looks, or what is wrong with it."""

    looks: Looks | None
    faults: Sequence[str]


@desk.get("/texts")
def page() -> Answer:
    """All texts of one clinic in one language, beside another."""
    with at_hand.store().read() as connection:
        clinics = pages.clinics(connection)
        clinic = at_hand.chosen_clinic(clinics) or next(iter(clinics), None)
        if clinic is None:
            return render_template("texts/none.html")
        return _show(connection, clinics, clinic, _language("language") or _first_language(connection, clinic), [])


@desk.post("/texts/<clinic_key>/<language>")
def decide(clinic_key: str, language: str) -> Answer:
    """Approve one text, all that are shown, or the shipped wording of one; or take an approval back."""
    clinic = _clinic_or_404(clinic_key)
    if language not in LANGUAGES:
        abort(404)
    by, now, store = at_hand.given_name(), at_hand.now(), at_hand.store()
    do, one = _pressed()
    try:
        if do == "withdraw" and one:
            texts.withdraw(store, clinic.id, language, [one], by, now)
            said = "Taken back: the text is a draft again and is not sent."
        else:
            field = "shipped" if do == "shipped" else "read"
            read = {kind: _read(field, kind) for kind in Kind if f"{field}-{kind.value}" in request.form}
            number = texts.approve(store, clinic.id, language, {one: read.get(one, "")} if one else read, by, now)
            said = f"Approved: {count(number, 'text is', 'texts are')} sent from now on."
    except TextRefused as refusal:
        with store.read() as connection:
            shown = _show(connection, pages.clinics(connection), clinic, language, refusal.faults)
        return shown, 422
    at_hand.settle()
    flash(said, "done")
    return redirect(
        url_for("texts.page", clinic=clinic.key, language=language, beside=request.args.get("beside"), _anchor=one)
    )


@desk.route("/texts/<clinic_key>/<language>/<kind>", methods=["GET", "POST"])
def reword(clinic_key: str, language: str, kind: str) -> Answer:
    """Write the clinic's own wording: look at it, then keep it, or go back to the shipped one."""
    clinic = _clinic_or_404(clinic_key)
    with at_hand.store().read() as connection:
        text = _text_or_404(connection, clinic, language, kind)
    if request.method == "GET":
        return _show_wording(clinic, text, wording.in_braces(text.wording), None, [])
    typed = request.form.get("wording", "")
    if request.form.get("do") != "keep":
        return _show_wording(clinic, text, typed, _preview(clinic, text, typed), [])
    try:
        texts.write_own(at_hand.store(), clinic.id, language, text.kind, typed, at_hand.given_name(), at_hand.now())
    except TextRefused as refusal:
        return _show_wording(clinic, text, typed, None, refusal.faults), 422
    at_hand.settle()
    flash("Kept: the clinic’s own wording is sent from now on.", "done")
    return redirect(url_for("texts.page", clinic=clinic.key, language=language, _anchor=kind))


@desk.post("/texts/<clinic_key>/<language>/<kind>/preview")
def preview(clinic_key: str, language: str, kind: str) -> Answer:
    """How a wording looks while it is typed: a piece of the page, for its script."""
    clinic = _clinic_or_404(clinic_key)
    with at_hand.store().read() as connection:
        text = _text_or_404(connection, clinic, language, kind)
    shown = _preview(clinic, text, request.form.get("wording", ""))
    return render_template("texts/preview.html", clinic=clinic, preview=shown)


def _show(
    connection: Connection, clinics: list[pages.Clinic], clinic: pages.Clinic, language: str, faults: Sequence[str]
) -> str:
    beside = _language("beside") or BESIDE
    theirs = {text.kind: text for text in texts_of(connection, clinic.id, beside)}
    number = drafts(connection, [clinic.id])
    pairs = [
        Pair(
            text,
            *PURPOSES[text.kind],
            _looks(clinic, text.kind, language, text.wording),
            None if beside == language else _looks(clinic, text.kind, beside, theirs[text.kind].wording),
        )
        for text in texts_of(connection, clinic.id, language)
    ]
    return render_template(
        "texts/page.html",
        now=at_hand.now(),
        clinics=clinics,
        clinic=clinic,
        language=language,
        beside=beside,
        languages=LANGUAGES,
        drafts={code: number.get((clinic.id, code), 0) for code in LANGUAGES},
        pairs=pairs,
        faults=faults,
        name=at_hand.remembered_name(),
    )


def _show_wording(clinic: pages.Clinic, text: Text, typed: str, shown: Preview | None, faults: Sequence[str]) -> str:
    name, purpose = PURPOSES[text.kind]
    return render_template(
        "texts/wording.html",
        clinic=clinic,
        text=text,
        text_name=name,
        purpose=purpose,
        typed=typed,
        preview=shown or _preview(clinic, text, typed),
        faults=faults,
        shipped=_looks(clinic, text.kind, text.language, text.shipped),
        english=_looks(clinic, text.kind, BESIDE, None) if text.language != BESIDE else None,
        gaps=[(f"{{{gap}}}", MEANS[gap]) for gap in wording.gaps(text.kind)],
        most_parts=wording.MOST_PARTS,
        name=at_hand.remembered_name(),
    )


def _preview(clinic: pages.Clinic, text: Text, typed: str) -> Preview:
    own = wording.from_braces(typed)
    faults = wording.faults_in_wording(text.kind, own, language=text.language, clinic=clinic.name, phone=clinic.phone)
    return Preview(None if faults else _looks(clinic, text.kind, text.language, own), faults)


def _looks(clinic: pages.Clinic, kind: Kind, language: str, own: str | None) -> Looks:
    known: dict[str, str | date] = {
        "clinic": clinic.name,
        "phone": clinic.phone,
        "day": local_day(at_hand.now(), clinic.zone) + SHOWN_AHEAD,
    }
    facts = {name: known[name] for name in wording.needed_facts(kind)}
    body = wording.word(kind, language=language, wording=own, **facts)
    cost = wording.at_its_longest(kind, language=language, clinic=clinic.name, phone=clinic.phone, wording=own)
    return Looks(language, body, cost)


def _pressed() -> tuple[str, Kind | None]:
    """Which button was pressed, and at which text; ("all", None) for that of all texts."""
    for do in ("approve", "shipped", "withdraw"):
        if do in request.form:
            return do, _kind_or_404(request.form[do])
    return "all", None


def _read(field: str, kind: Kind) -> str:
    """The wording that was on the page when it was approved, on one kind of line end."""
    return request.form[f"{field}-{kind.value}"].replace("\r\n", "\n")


def _language(field: str) -> str | None:
    code = request.args.get(field)
    if code and code not in LANGUAGES:
        abort(404)
    return code or None


def _first_language(connection: Connection, clinic: pages.Clinic) -> str:
    """The language with the most drafts that families of the clinic read, or else the first they read."""
    number = drafts(connection, [clinic.id])
    read = sorted(code for clinic_id, code in families_reading(connection) if clinic_id == clinic.id)
    return max(
        (code for code in read if code in LANGUAGES), key=lambda code: number.get((clinic.id, code), 0), default=BESIDE
    )


def _clinic_or_404(key: str) -> pages.Clinic:
    with at_hand.store().read() as connection:
        clinic = next((clinic for clinic in pages.clinics(connection) if clinic.key == key), None)
    if clinic is None:
        abort(404)
    return clinic


def _kind_or_404(value: str) -> Kind:
    try:
        return Kind(value)
    except ValueError:
        abort(404)


def _text_or_404(connection: Connection, clinic: pages.Clinic, language: str, kind: str) -> Text:
    if language not in LANGUAGES:
        abort(404)
    wanted = _kind_or_404(kind)
    return next(text for text in texts_of(connection, clinic.id, language) if text.kind is wanted)
