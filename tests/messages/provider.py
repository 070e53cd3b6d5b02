"""A text-message provider on this machine's loopback, for tests: keeps what it accepted, fails on demand.

It answers like Twilio's public REST API, 2010-04-01, Message resource (field names, statuses and response
shape from its public description, READ). It is stricter than the real one: a field it does not know, or
both kinds of sender at once, is refused, so that a slip in the adapter cannot pass unseen.
"""

import base64
import json
import re
import secrets
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qsl, urlencode, urlsplit

import requests
from api_description import fault_in
from twilio.request_validator import RequestValidator

# Numbers kept free for films and books (Ofcom, numbers for drama use, mobile range 07700 900xxx, MEMORY).
FAMILY = "+447700900111"
DEAD = "+447700900222"
STOPPED = "+447700900333"
OUR_NUMBER = "+447700900999"

LONGEST_STALL_SECONDS = 10.0
FIELDS = {
    "To",
    "From",
    "MessagingServiceSid",
    "Body",
    "StatusCallback",
    "ValidityPeriod",
    "ContentSid",
    "ContentVariables",
}
WHATSAPP = "whatsapp:"
FILTERS = {"To", "From", "DateSent", "DateSent<", "DateSent>", "PageSize", "Page", "PageToken"}


@dataclass(frozen=True, slots=True)
class Fault:
    """What goes wrong with one request. `status` None drops the connection instead of answering."""

    accepts: bool = False  # the message is kept before things go wrong
    status: int | None = None
    body: bytes = b""
    headers: tuple[tuple[str, str], ...] = ()
    stalls: float = 0.0  # seconds for which it says nothing, or until the provider is stopped
    accepts_late: bool = False  # keeps the message only after stalling
    cut_short: bool = False  # promises more body than it sends


def error_body(code: int, status: int, message: str = "invented by the loopback provider") -> bytes:
    more = f"https://www.twilio.com/docs/errors/{code}"
    return json.dumps({"code": code, "message": message, "more_info": more, "status": status}).encode()


def refusal(code: int, status: int = 400, message: str = "invented by the loopback provider") -> Fault:
    return Fault(status=status, body=error_body(code, status, message))


DROP_BEFORE_READING = Fault()
DROP_AFTER_ACCEPTING = Fault(accepts=True)
STALL_AFTER_ACCEPTING = Fault(accepts=True, stalls=LONGEST_STALL_SECONDS)
TOO_MANY_REQUESTS = refusal(20429, 429)
SERVER_ERROR = refusal(20500, 500)
UNAVAILABLE_AFTER_ACCEPTING = Fault(accepts=True, status=503, body=b"<html>try later</html>")
BROKEN_JSON = Fault(accepts=True, status=201, body=b'{"sid": "SM')
CUT_SHORT = Fault(accepts=True, status=201, body=b'{"sid": "SM', cut_short=True)


@dataclass
class Provider:
    """State and faults. `messages` holds what was accepted, oldest first, as the API shows it;
    `forms` the form of every create that was read; `creates` counts the creates begun."""

    account_sid: str = "AC" + "1f" * 16
    auth_token: str = field(default_factory=lambda: secrets.token_hex(16))
    dead_numbers: frozenset[str] = frozenset()
    opted_out: frozenset[str] = frozenset()
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    messages: list[dict[str, object]] = field(default_factory=list)
    forms: list[dict[str, str]] = field(default_factory=list)
    creates: int = 0
    reports_early: tuple[str, ...] = ()  # reported of every message before its create is answered
    report_addresses: dict[str, str | None] = field(default_factory=dict)
    contract_faults: list[str] = field(default_factory=list)  # where a request broke the API's description

    def __post_init__(self) -> None:
        self.lock = threading.Lock()
        self.stopping = threading.Event()
        self._faults: dict[str, deque[Fault]] = {"POST": deque(), "GET": deque()}
        self._server = _Server(self)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self._server.server_port}"

    @property
    def path(self) -> str:
        return f"/2010-04-01/Accounts/{self.account_sid}/Messages.json"

    def start(self) -> "Provider":
        self._thread.start()
        return self

    def stop(self) -> None:
        self.stopping.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(timeout=5)

    def fail_next(self, *faults: Fault, method: str = "POST") -> None:
        """The next requests of that method meet these faults, one each, in order."""
        with self.lock:
            self._faults[method].extend(faults)

    def next_fault(self, method: str) -> Fault | None:
        with self.lock:
            return self._faults[method].popleft() if self._faults[method] else None

    def accept(self, form: dict[str, str]) -> dict[str, object]:
        """Keep a message and return it as the API shows it."""
        now = format_datetime(self.clock().astimezone(UTC))
        sid = "SM" + secrets.token_hex(16)
        here = f"/2010-04-01/Accounts/{self.account_sid}/Messages/{sid}"
        message: dict[str, object] = {
            "account_sid": self.account_sid,
            "api_version": "2010-04-01",
            "body": form.get("Body") or f"rendered from {form['ContentSid']}",
            "date_created": now,
            "date_sent": now,
            "date_updated": now,
            "direction": "outbound-api",
            "error_code": None,
            "error_message": None,
            "from": form.get("From"),
            "messaging_service_sid": form.get("MessagingServiceSid"),
            "num_media": "0",
            # A messaging service has not chosen a sender yet when it answers, and counts nothing.
            "num_segments": "1" if "From" in form else "0",
            "price": None,
            "price_unit": None,
            "sid": sid,
            "status": "queued" if "From" in form else "accepted",
            "subresource_uris": {"media": f"{here}/Media.json"},
            "to": form["To"],
            "uri": f"{here}.json",
        }
        with self.lock:
            self.messages.append(message)
            self.report_addresses[sid] = form.get("StatusCallback")
        if self.reports_early:
            self.report(sid, *self.reports_early)
        return message

    def receive(self, sender: str, body: str) -> str:
        """Somebody writes to us; the message's sid."""
        form = {"To": OUR_NUMBER, "From": sender, "Body": body}
        if sender.startswith(WHATSAPP):
            form["To"] = WHATSAPP + OUR_NUMBER
        early, self.reports_early = self.reports_early, ()
        message = self.accept(form)
        self.reports_early = early
        message |= {"direction": "inbound", "status": "received"}
        return str(message["sid"])

    def report(self, sid: str, *statuses: str, code: int | None = None, token: str | None = None) -> list[int]:
        """Report these statuses of a message, in this order, and give back what was answered. Statuses may be
        repeated or reversed; with another `token` the report is forged."""
        url = self.report_addresses[sid]
        if url is None:
            return []
        message = next(message for message in self.messages if message["sid"] == sid)
        answers = []
        for status in statuses:
            form = {"MessageSid": sid, "MessageStatus": status, "To": str(message["to"])}
            form |= {"AccountSid": self.account_sid, "ApiVersion": "2010-04-01"}
            form |= {} if code is None else {"ErrorCode": str(code)}
            signature = RequestValidator(token or self.auth_token).compute_signature(url, form)
            answer = requests.post(url, data=form, headers={"X-Twilio-Signature": signature}, timeout=5)
            answers.append(answer.status_code)
        return answers

    def may_write_freely(self, to: str) -> bool:
        """Whether a text of our own wording may go there: over WhatsApp only for a day after the person wrote."""
        if not to.startswith(WHATSAPP):
            return True
        since = self.clock() - timedelta(hours=24)
        return any(
            message["from"] == to and message["direction"] == "inbound" and _moment(message) > since
            for message in self.messages
        )

    def why_refused(self, form: dict[str, str], kind: str) -> tuple[int, str] | None:
        """The error code and text for a create the API would not take, None when it is in order."""
        to = form.get("To", "")
        unknown = sorted(set(form) - FIELDS)
        validity = form.get("ValidityPeriod", "1")
        checks = (
            (20001, f"Unknown parameters {unknown}", bool(unknown)),
            (21604, "A 'To' phone number is required.", not to or "form-urlencoded" not in kind),
            (21603, "Exactly one sender here.", ("From" in form) == ("MessagingServiceSid" in form)),
            (21602, "Message body is required.", not (form.get("Body", "").strip() or form.get("ContentSid"))),
            (21617, "The body exceeds the 1600 character limit.", len(form.get("Body", "")) > 1600),
            (21609, "The 'StatusCallback' is not a valid URL.", not _callback_is_fine(form)),
            (90007, "Invalid validity period.", not validity.isdigit() or not 1 <= int(validity) <= 36_000),
            (21211, f"The 'To' number {to} is not a valid phone number.", _is_dead(to, self.dead_numbers)),
            (21610, f"Attempt to send to unsubscribed recipient {to}.", to.removeprefix(WHATSAPP) in self.opted_out),
            (63016, "Outside the allowed window.", "ContentSid" not in form and not self.may_write_freely(to)),
        )
        return next(((code, text) for code, text, wrong in checks if wrong), None)

    def page(self, query: dict[str, str]) -> dict[str, object]:
        """One page of the list, newest first, as the API shows it."""
        size, number = int(query.get("PageSize", "50")), int(query.get("Page", "0"))
        with self.lock:
            found = [message for message in reversed(self.messages) if _matches(message, query)]
        here = found[number * size : (number + 1) * size]
        more = len(found) > (number + 1) * size
        return {
            "messages": here,
            "start": number * size,
            "end": max(number * size + len(here) - 1, 0),
            "page": number,
            "page_size": size,
            "uri": self._page_uri(query, number),
            "first_page_uri": self._page_uri(query, 0),
            "next_page_uri": self._page_uri(query, number + 1) if more else None,
            "previous_page_uri": self._page_uri(query, number - 1) if number else None,
        }

    def _page_uri(self, query: dict[str, str], number: int) -> str:
        return f"{self.path}?{urlencode({**query, 'Page': str(number)})}"


def _is_dead(number: str, dead: frozenset[str]) -> bool:
    number = number.removeprefix(WHATSAPP)
    return number in dead or not re.fullmatch(r"\+[1-9][0-9]{6,14}", number)


def _moment(message: dict[str, object]) -> datetime:
    return datetime.strptime(str(message["date_created"]), "%a, %d %b %Y %H:%M:%S %z")


def _callback_is_fine(form: dict[str, str]) -> bool:
    url = form.get("StatusCallback", "https://clinic.example/report")
    parts = urlsplit(url)
    return parts.scheme in ("http", "https") and bool(parts.hostname) and "_" not in parts.netloc


def _matches(message: dict[str, object], query: dict[str, str]) -> bool:
    sent = datetime.strptime(str(message["date_sent"]), "%a, %d %b %Y %H:%M:%S %z").date().isoformat()
    return (
        message["to"] == query.get("To", message["to"])
        and message["from"] == query.get("From", message["from"])
        and sent == query.get("DateSent", sent)[:10]
        and sent <= query.get("DateSent<", sent)[:10]
        and sent >= query.get("DateSent>", sent)[:10]
    )


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, provider: Provider) -> None:
        self.provider = provider
        super().__init__(("127.0.0.1", 0), _Handler)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: "_Server"

    def do_POST(self) -> None:
        provider = self.server.provider
        with provider.lock:
            provider.creates += 1
        fault = provider.next_fault("POST")
        if fault == DROP_BEFORE_READING:
            return self._drop()
        form = self._form()
        if form is None or not self._may_enter():
            return None
        self._check(urlencode(form).encode())
        refused = provider.why_refused(form, self.headers.get("Content-Type", ""))
        if fault is not None:
            if fault.accepts_late:
                provider.stopping.wait(fault.stalls)
            if (fault.accepts or fault.accepts_late) and refused is None:
                provider.accept(form)
            return self._fail(fault)
        if refused is not None:
            return self._answer(400, error_body(refused[0], 400, refused[1]))
        return self._answer(201, json.dumps(provider.accept(form)).encode())

    def do_GET(self) -> None:
        fault = self.server.provider.next_fault("GET")
        if fault is not None:
            return self._fail(fault)
        if not self._may_enter():
            return None
        self._check(b"")
        query = dict(parse_qsl(urlsplit(self.path).query, strict_parsing=bool(urlsplit(self.path).query)))
        sizes = query.get("PageSize", "50")
        if set(query) - FILTERS or not sizes.isdigit() or not 1 <= int(sizes) <= 1000:
            return self._answer(400, error_body(20001, 400, "Unknown or wrong parameters"))
        return self._answer(200, json.dumps(self.server.provider.page(query)).encode())

    def _form(self) -> dict[str, str] | None:
        """The form, or None for a body that broke off: a request without its whole body is no request."""
        length = int(self.headers.get("Content-Length", "0"))
        raw = self.rfile.read(length)
        if len(raw) < length:
            self.close_connection = True
            return None
        form = dict(parse_qsl(raw.decode("ascii"), keep_blank_values=True, errors="strict"))
        with self.server.provider.lock:
            self.server.provider.forms.append(form)
        return form

    def _check(self, form: bytes) -> None:
        fault = fault_in(self.command, self.path, dict(self.headers.items()), form)
        if fault is not None:
            self.server.provider.contract_faults.append(fault)

    def _may_enter(self) -> bool:
        provider = self.server.provider
        ours = base64.b64encode(f"{provider.account_sid}:{provider.auth_token}".encode()).decode()
        if self.headers.get("Authorization") != f"Basic {ours}":
            self._answer(401, error_body(20003, 401, "Authenticate"))
            return False
        if urlsplit(self.path).path != provider.path:
            self._answer(404, error_body(20404, 404, "The requested resource was not found"))
            return False
        return True

    def _fail(self, fault: Fault) -> None:
        if fault.stalls and not fault.accepts_late:
            self.server.provider.stopping.wait(fault.stalls)
        if fault.status is None:
            return self._drop()
        return self._answer(fault.status, fault.body, fault.headers, 500 if fault.cut_short else 0)

    def _drop(self) -> None:
        # Seen as a reset when bytes were left unread, as a plain end otherwise: both happen for real.
        self.close_connection = True

    def _answer(self, status: int, body: bytes, headers: tuple[tuple[str, str], ...] = (), missing: int = 0) -> None:
        self.send_response(status)
        for name, value in (("Content-Type", "application/json"), *headers):
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body) + missing))
        self.end_headers()
        self.wfile.write(body)
        self.close_connection = self.close_connection or missing > 0

    def handle(self) -> None:
        with suppress(ConnectionError):  # whoever asked was killed
            super().handle()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name in http.server
        """Silent: the default writes to stderr."""
