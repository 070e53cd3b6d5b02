"""The Flask app: its desks, who may ask, what every answer carries."""

from __future__ import annotations

import hashlib
import ipaddress
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, render_template, request, url_for
from flask_wtf.csrf import CSRFError, CSRFProtect
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException
from werkzeug.routing import IntegerConverter, Map

from bracewatch.store import Store
from bracewatch.web import at_hand, notices, words
from bracewatch.web.at_hand import PracticeDesk
from bracewatch.web.clinic import desk as clinic_desk
from bracewatch.web.practice import desk as practice_desk
from bracewatch.web.programme import desk as programme_desk
from bracewatch.web.sending import desk as sending_desk
from bracewatch.web.texts import desk as texts_desk

PAGE_STAYS_GOOD = timedelta(hours=12)  # a call list is opened in the morning and worked through all day
MOST_BYTES_A_FORM = 64 * 1024
OUR_HOSTS = frozenset({"127.0.0.1", "localhost", "::1"})

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self'; img-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; frame-ancestors 'none'; form-action 'self'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}

WHAT_TO_DO = {
    400: ("This could not be understood", "Go back, check what was entered, and send it again."),
    403: (
        "This is not open from here",
        "The practice clinic answers only on its own machine: open it at http://127.0.0.1 or http://localhost.",
    ),
    404: (
        "There is nothing at this address",
        "The address may be mistyped, or the family is not in this clinic. Look it up under Families.",
    ),
    405: ("This address does not take that", "Go back and use the buttons on the page."),
    413: ("That is too much text", "Go back and shorten it."),
    500: (
        "Something went wrong on our side",
        "Nothing was changed by what you just did. Try once more; if it happens again, tell whoever runs Bracewatch.",
    ),
}


class RowId(IntegerConverter):
    """The id of a row in an address. Larger numbers fit no integer column: no such row."""

    def __init__(self, map: Map) -> None:  # noqa: A002 - the name of the base class
        super().__init__(map, max=2**31 - 1)


def create_app(store: Store, *, clock: Callable[[], datetime], secret: str, practice: PracticeDesk | None) -> Flask:
    """The web app over a migrated store. `clock` tells aware datetimes; `secret` signs the session cookie.

    Raises ValueError without a practice clinic: real families are served only to people who have signed in,
    and nobody can sign in yet.
    """
    if practice is None:
        raise ValueError("there is no sign-in yet, so only the practice clinic is served: start it with its player")
    if not secret:
        raise ValueError("the secret is empty: give at least 16 random characters")
    app = Flask(__name__, template_folder=str(templates_folder()))
    app.config.update(
        SECRET_KEY=secret,
        # Cookies know no ports: two clinics on one machine must not take each other's.
        SESSION_COOKIE_NAME=f"bracewatch-{hashlib.sha256(secret.encode()).hexdigest()[:8]}",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        MAX_CONTENT_LENGTH=MOST_BYTES_A_FORM,
        WTF_CSRF_TIME_LIMIT=int(PAGE_STAYS_GOOD.total_seconds()),
    )
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    words.teach(app)
    notices.teach(app)
    at_hand.lay_out(app, store, clock, practice)
    app.before_request(_only_this_machine)  # before the CSRF check: a stranger is told nothing else
    CSRFProtect(app)
    app.after_request(_protect)
    app.url_map.converters["row"] = RowId
    app.register_error_handler(CSRFError, _page_too_old)
    app.register_error_handler(HTTPException, _say_what_to_do)
    for desk in (clinic_desk, texts_desk, sending_desk, practice_desk, programme_desk):
        app.register_blueprint(desk)
    app.add_url_rule("/", "start", lambda: redirect(url_for("clinic.calls")))
    return app


def templates_folder() -> Path:
    """Where the templates are: in the wheel, or at the top of a working copy. Raises RuntimeError for neither."""
    package = Path(__file__).parents[1]
    for folder in (package / "_shipped" / "templates", package.parent / "templates"):
        if (folder / "shared" / "base.html").is_file():
            return folder
    raise RuntimeError("the page templates are missing: install Bracewatch again, from its wheel or its working copy")


def _only_this_machine() -> None:
    """Refuse whoever asks from another machine, or by a name that only looks like this one (DNS rebinding)."""
    try:
        host = urlsplit(f"//{request.host}").hostname
        here = ipaddress.ip_address(request.remote_addr or "").is_loopback
    except ValueError:
        abort(403)
    if host not in OUR_HOSTS or not here:
        abort(403)


def _protect(response: Response) -> Response:
    response.headers.update(HEADERS)
    if request.endpoint != "static":
        response.headers["Cache-Control"] = "no-store"
    return response


def _say_what_to_do(error: HTTPException) -> tuple[str, int]:
    code = error.code or 500
    title, advice = WHAT_TO_DO.get(code, WHAT_TO_DO[500 if code >= 500 else 400])
    return render_template("shared/error.html", title=title, advice=advice, code=code, typed={}), code


def _page_too_old(error: CSRFError) -> tuple[str, int]:
    typed = {
        name: text for name in ("note", "body", "day", "wording", "why") if (text := request.form.get(name, "").strip())
    }
    return render_template(
        "shared/error.html",
        title="This page was open too long",
        advice="Nothing was recorded. Go back, load the page again, and enter it once more. "
        "If that does not help, allow cookies here.",
        code=400,
        typed=typed,
    ), 400
