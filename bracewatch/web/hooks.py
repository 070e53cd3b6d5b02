"""Where the phone network tells us what came in and what became of a message: an app of its own, without pages.

Nobody signs in here. Every request carries the provider's signature over the public address and all its
fields; without a right one nothing is done and nothing is said. No answer repeats anything that was sent.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Final
from urllib.parse import urlsplit

from flask import Blueprint, Flask, Response, abort, current_app, request
from sqlalchemy.exc import OperationalError
from werkzeug.exceptions import HTTPException

from bracewatch.messages.adapter import REFERENCE_FIELD
from bracewatch.messages.signature import HEADER, is_signed
from bracewatch.services import delivery, inbox
from bracewatch.store import Store

MOST_BYTES: Final = 64 * 1024  # a text of 1,600 characters in percent signs and forty short fields take a third of it
FORM: Final = "application/x-www-form-urlencoded"
NO_ANSWER: Final = "<Response/>"  # the provider's markup for "send nothing back": our own answer is in the outbox
OVER_WHATSAPP: Final = "whatsapp:"

_NAME: Final = "bracewatch-hooks"
_log = logging.getLogger(__name__)


class Hooks:
    """What the hooks work with, and the two things they take in."""

    def __init__(self, store: Store, clock: Callable[[], datetime], public_base: str, auth_token: str) -> None:
        self._store = store
        self._clock = clock
        self._base = public_base
        self._secret = auth_token

    def is_genuine(self, path: str, query: str, fields: list[tuple[str, str]], signature: str) -> bool:
        """Whether the provider signed this. The address is the one we gave it, never the request's own host."""
        url = f"{self._base}{path}?{query}" if query else f"{self._base}{path}"
        return is_signed(self._secret, url, fields, signature)

    def reply(self, sid: str, sender: str, body: str) -> None:
        phone = sender.removeprefix(OVER_WHATSAPP)
        _at_second_try(lambda: inbox.receive(self._store, sid=sid, phone=phone, body=body, received_at=self._clock()))

    def status(self, reference: str | None, sid: str, status: str, code: str | None) -> None:
        _at_second_try(
            lambda: delivery.report(
                self._store, reference=reference, sid=sid, status=status, code=code, now=self._clock()
            )
        )


def _at_second_try(work: Callable[[], object]) -> None:
    """Do it, and once more when the database gave it up to end a deadlock: all of it was taken back then."""
    try:
        work()
    except OperationalError:
        work()


def create_hooks_app(store: Store, *, clock: Callable[[], datetime], public_base: str, auth_token: str) -> Flask:
    """The app that the provider calls, over a migrated store.

    `public_base` is our address as the provider knows it, such as https://clinic.example or with a path;
    `auth_token` is the account's secret; `clock` tells aware datetimes. Raises ValueError, without the secret,
    for an address that is not https or an empty secret.
    """
    if not auth_token:
        raise ValueError("the account's secret is empty: without it no request can be told from a forged one")
    app = Flask(__name__, static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.extensions[_NAME] = Hooks(store, clock, checked_base(public_base), auth_token)
    app.register_blueprint(desk)
    app.register_error_handler(Exception, _say_nothing)
    app.after_request(_protect)
    return app


def checked_base(address: str) -> str:
    """The address without a slash at its end. Raises ValueError unless it is https, without query or user name."""
    try:
        parts = urlsplit(address)
        whole = bool(parts.scheme == "https" and parts.hostname and parts.port != 0)
    except ValueError:
        whole = False
    if not whole or any(sign in address for sign in "?#@ "):
        raise ValueError("the public address must be as in https://clinic.example: https, no query, no user name")
    return address.rstrip("/")


desk = Blueprint("hooks", __name__, url_prefix="/hooks/twilio")


@desk.before_request
def _only_the_provider() -> None:
    """Refuse what the provider did not sign, before any of it is looked at."""
    fields = list(request.form.items(multi=True))
    query = request.query_string.decode("latin-1")
    path = str(request.url_rule)  # one way to write it, whatever the request did
    genuine = _hooks().is_genuine(path, query, fields, request.headers.get(HEADER, ""))
    if request.mimetype != FORM or not genuine:
        abort(403)


@desk.post("/reply")
def reply() -> Response:
    """A text or a picture that somebody sent us."""
    _hooks().reply(_needed("MessageSid"), _needed("From"), request.form.get("Body", ""))
    return Response(NO_ANSWER, mimetype="text/xml")


@desk.post("/status")
def status() -> tuple[str, int]:
    """What became of a message of ours."""
    _hooks().status(
        request.args.get(REFERENCE_FIELD),
        _needed("MessageSid"),
        _needed("MessageStatus"),
        request.form.get("ErrorCode") or None,
    )
    return "", 200


def _hooks() -> Hooks:
    hooks: Hooks = current_app.extensions[_NAME]
    return hooks


def _needed(name: str) -> str:
    value = request.form.get(name, "")
    if not value:
        abort(400)
    return value


def _say_nothing(error: Exception) -> tuple[str, int]:
    """The status alone: whoever asks wrongly learns nothing, and the log holds no words or numbers of families."""
    if isinstance(error, HTTPException):
        return "", error.code or 500
    _log.error("a request of the phone network failed: %s", type(error).__name__)
    return "", 500


def _protect(response: Response) -> Response:
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response
