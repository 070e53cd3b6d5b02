"""Text and WhatsApp messages through Twilio's public REST API. The only module that imports the `twilio` package.

The package has no timeout of its own and writes phone numbers to its log, so it gets an HTTP client of ours.
A create has no idempotency key: what counts above all is to know whether the request may have arrived.
"""

import io
import ipaddress
import json
import logging
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, ClassVar, Final
from urllib.parse import parse_qsl, quote, urlencode, urlsplit, urlunsplit

import requests
from twilio.base.exceptions import TwilioRestException, TwilioServiceException
from twilio.http import HttpClient
from twilio.http.response import Response
from twilio.rest import Client
from urllib3 import Timeout
from urllib3.exceptions import HTTPError

from bracewatch.messages.adapter import (
    REFERENCE_FIELD,
    TOO_LATE,
    Accepted,
    Incoming,
    Listed,
    NotListed,
    NotSent,
    Outcome,
    Outgoing,
    is_e164,
)
from bracewatch.messages.provider_codes import is_about_the_number, outcome_of

# Twilio's public API description, 2010-04-01, Message resource: ValidityPeriod, sid, and the statuses
# after which the provider does nothing more.
_VALIDITY_SECONDS: Final = (1, 36_000)
_SID: Final = re.compile(r"(SM|MM)[0-9a-fA-F]{32}")
_GIVEN_UP: Final = frozenset({"failed", "undelivered", "canceled"})
_INBOUND: Final = "inbound"
_PAGE: Final = 1000  # the most that one page of the list may hold
_A_DAY: Final = timedelta(days=1)  # days of the list are those of GMT, and a message may be sent after it was made

_LONGEST_ADDRESS: Final = 2000  # with the longest reference still under the 4,000 that error 21609 allows


@dataclass(frozen=True, slots=True)
class TwilioSettings:
    """What the adapter needs to know. The secret stays out of `repr`.

    Exactly one of `from_number` (E.164, or a short code of 5 or 6 digits) and `messaging_service_sid`.
    `status_callback_url` is where delivery reports go, None for none; it may have a query of its own.
    `timeout` bounds connecting, writing and waiting for the answer together, and nothing is written
    once it has passed. A send can return a little later: a name lookup, or a host with several dead
    addresses, is not cut short. Raises ValueError that names the setting and never shows the secret.
    """

    account_sid: str
    auth_token: str = field(repr=False)
    from_number: str | None = None
    messaging_service_sid: str | None = None
    status_callback_url: str | None = None
    api_base: str = "https://api.twilio.com"
    timeout: timedelta = timedelta(seconds=10)

    def __post_init__(self) -> None:
        if not re.fullmatch(r"AC[0-9a-fA-F]{32}", self.account_sid):
            raise ValueError("account_sid must be AC and 32 hexadecimal digits, as the provider shows it")
        if not re.fullmatch(r"[!-~]+", self.auth_token):
            raise ValueError("auth_token must be the account's secret: letters and digits without spaces")
        if self.timeout <= timedelta(0):
            raise ValueError(f"timeout must be more than zero, not {self.timeout}")
        self._check_sender()
        _check_address("api_base", self.api_base)
        if urlsplit(self.api_base).path.strip("/") or urlsplit(self.api_base).query:
            raise ValueError("api_base must be scheme, host and port alone, such as https://api.twilio.com")
        if self.status_callback_url is not None:
            _check_callback(self.status_callback_url)

    def _check_sender(self) -> None:
        if (self.from_number is None) == (self.messaging_service_sid is None):
            raise ValueError("give exactly one of from_number and messaging_service_sid")
        number, service = self.from_number, self.messaging_service_sid
        if number is not None and not is_e164(number) and not re.fullmatch(r"[0-9]{5,6}", number):
            raise ValueError("from_number must be + and the country code and digits, or a short code")
        if service is not None and not _is_service(service):
            raise ValueError("messaging_service_sid must be MG and 32 hexadecimal digits")


def _is_service(sender: str) -> bool:
    return re.fullmatch(r"MG[0-9a-fA-F]{32}", sender) is not None


def _check_callback(url: str) -> None:
    _check_address("status_callback_url", url)
    parts = urlsplit(url)
    if len(url) > _LONGEST_ADDRESS or "_" in (parts.hostname or ""):
        raise ValueError(
            f"status_callback_url must have at most {_LONGEST_ADDRESS} characters and no _ in its host name"
        )
    if any(name == REFERENCE_FIELD for name, _ in parse_qsl(parts.query, keep_blank_values=True)):
        raise ValueError(f"status_callback_url must leave the query field {REFERENCE_FIELD!r} to us")


def _check_address(setting: str, url: str) -> None:
    """Raises ValueError unless `url` is https to any host, or http to this machine's own loopback."""
    try:
        parts = urlsplit(url)
        host = parts.hostname if parts.port != 0 else None  # a port that is no number raises
    except ValueError:
        host = None
    if not host or "@" in url or "#" in url or not re.fullmatch(r"[!-~]+", url):
        raise ValueError(f"{setting} must be an address such as https://host/path, without user name or #")
    if parts.scheme != "https" and not (parts.scheme == "http" and _is_loopback(host)):
        raise ValueError(
            f"{setting} must start with https:// since secrets and phone numbers travel there; "
            "http:// is for this machine's own loopback address only"
        )


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _now() -> datetime:
    return datetime.now(UTC)


class TwilioSms:
    """The channel that sends real text messages. Safe to share between threads.

    `clock` is the one by which a message's `not_after` is meant, an aware datetime.
    """

    name: ClassVar[str] = "twilio"
    _prefix: ClassVar[str] = ""  # of numbers, in the provider's form

    def __init__(self, settings: TwilioSettings, clock: Callable[[], datetime] = _now) -> None:
        self._settings = settings
        self._clock = clock

    def send(self, message: Outgoing) -> Accepted:
        """Accepted with the provider's sid; parts is None where the provider counts them later.

        Exactly one request, never repeated; nothing is written after the message's `not_after`. Raises NotSent,
        with `code` the provider's error code, or "http-" and the status where it gave none, or one of: "too-late",
        "not-connected", "timeout", "dropped", "unreadable-answer", "bad-request", "failed", "undelivered",
        "canceled".
        """
        answer = self._create(message)
        if isinstance(answer, NotSent):
            # Raised here and not where it was caught: the errors below name the number and the secret.
            raise answer
        return answer

    def listing(self, since: datetime, to: str | None) -> list[Listed]:
        """What the provider made for us at or after `since`, all pages of it. Raises NotListed."""
        rows = self._rows(since, {} if to is None else {"to": self._prefix + to})
        if isinstance(rows, NotListed):
            raise rows
        sent = [row for row in rows if row.direction != _INBOUND and self._is_ours(row.to)]
        return [
            Listed(row.sid, row.to.removeprefix(self._prefix), row.body or "", row.date_created, str(row.status))
            for row in sent
            if row.date_created >= since
        ]

    def heard(self, since: datetime) -> list[Incoming]:
        """What the provider received for us at or after `since`, the oldest first. Raises NotListed."""
        rows = self._rows(since, {})
        if isinstance(rows, NotListed):
            raise rows
        came = [row for row in rows if row.direction == _INBOUND and self._is_ours(row.from_)]
        replies = [
            Incoming(row.sid, row.from_.removeprefix(self._prefix), row.body or "", row.date_created)
            for row in came
            if row.date_created >= since
        ]
        return sorted(replies, key=lambda reply: (reply.received_at, reply.sid))

    def _is_ours(self, address: str) -> bool:
        """Whether an address of the list belongs to this channel."""
        return address.startswith(self._prefix) and is_e164(address.removeprefix(self._prefix))

    def _rows(self, since: datetime, filters: dict[str, str]) -> list[Any] | NotListed:
        first_day = (since.astimezone(UTC) - _A_DAY).date()
        try:
            rows = self._client().messages.list(date_sent_after=first_day, page_size=_PAGE, **filters)
            return list({row.sid: row for row in map(_readable, rows)}.values())  # pages shift while they are read
        except NotSent as failure:
            return NotListed(failure.code)
        except Exception:
            # A refusal, or a page that the package cannot read: it fails at that in many ways.
            return NotListed("unreadable-list")

    def _client(self, not_after: datetime | None = None) -> Client:
        settings = self._settings
        http = _OneShotHttp(settings.api_base, settings.timeout, lambda: not_after is None or self._clock() < not_after)
        return Client(settings.account_sid, settings.auth_token, http_client=http)

    def _create(self, message: Outgoing) -> Accepted | NotSent:
        try:
            made = self._client(message.not_after).messages.create(**self._fields(message))
            return _reading(made)
        except NotSent as failure:
            return failure
        except (TwilioRestException, TwilioServiceException) as error:
            return _refusal(error.code, error.status)
        except Exception:
            # The HTTP client below turns every failure of its own into NotSent. What is left is a 2xx
            # whose body the package cannot read, and it fails at that in many ways.
            return _unreadable()

    def _fields(self, message: Outgoing) -> dict[str, str | int]:
        least, most = _VALIDITY_SECONDS
        settings = self._settings
        fields: dict[str, str | int] = {
            "to": self._prefix + message.to,
            "validity_period": max(least, min(most, int(message.useful_for.total_seconds()))),
            **self._content(message),
        }
        sender = message.sender or settings.from_number or settings.messaging_service_sid or ""
        if _is_service(sender):
            fields["messaging_service_sid"] = sender
        else:
            fields["from_"] = self._prefix + sender
        if settings.status_callback_url is not None:
            fields["status_callback"] = _with_reference(settings.status_callback_url, message.reference)
        return fields

    def _content(self, message: Outgoing) -> dict[str, str]:
        return {"body": message.body}


class TwilioWhatsApp(TwilioSms):
    """The same provider's WhatsApp channel: free text within a day of the person's last message, otherwise a
    template that the network has approved (the provider's error 63016 says so)."""

    name: ClassVar[str] = "whatsapp"
    _prefix: ClassVar[str] = "whatsapp:"
    free_text_for: ClassVar[timedelta] = timedelta(hours=24)

    def _content(self, message: Outgoing) -> dict[str, str]:
        heard = message.heard_from_at
        if heard is not None and self._clock() < heard + self.free_text_for:
            return {"body": message.body}
        if message.template is None:
            raise NotSent(Outcome.PERMANENT, "no-template", "free text may go out only within a day of a message")
        content = {"content_sid": message.template.sid}
        if message.template.gaps:
            content["content_variables"] = json.dumps(dict(message.template.gaps))
        return content


def _readable(row: Any) -> Any:
    """The row of a list, if it has everything we rely on. Raises ValueError otherwise."""
    if not isinstance(row.sid, str) or not _SID.fullmatch(row.sid) or not isinstance(row.date_created, datetime):
        raise ValueError("a row of the list has no sid or no moment")
    if not isinstance(row.to, str) or not isinstance(row.from_, str | None) or not isinstance(row.direction, str):
        raise ValueError("a row of the list has no number or no direction")
    return row


def _with_reference(url: str, reference: str) -> str:
    parts = urlsplit(url)
    ours = urlencode({REFERENCE_FIELD: reference}, quote_via=quote, safe="")
    query = f"{parts.query}&{ours}" if parts.query else ours
    return urlunsplit(parts._replace(query=query))


def _reading(made: Any) -> Accepted | NotSent:
    """What the provider's 2xx answer says. The first status gets no delivery report, so it counts here."""
    if not isinstance(made.sid, str) or not _SID.fullmatch(made.sid):
        return _unreadable()
    if made.status in _GIVEN_UP:
        code = _error_code(made.error_code)
        return NotSent(
            outcome_of(code, None),
            str(code or made.status),
            "the provider gave up at once",
            about_number=is_about_the_number(code),
        )
    # "0" from a messaging service: no sender was chosen yet, so nothing was counted.
    parts = str(made.num_segments)
    return Accepted(sid=made.sid, parts=int(parts) if re.fullmatch(r"[1-9][0-9]?", parts) else None)


def _refusal(code: object, status: object) -> NotSent:
    """Both come from the answer's body in some of the package's errors, so neither is sure to be a number."""
    known = _error_code(code)
    http_status = status if isinstance(status, int) else None
    word = str(known) if known is not None else f"http-{http_status or 'unknown'}"
    outcome = outcome_of(known, http_status)
    about_number = outcome is Outcome.PERMANENT and is_about_the_number(known)
    return NotSent(outcome, word, "the provider did not accept the message", about_number=about_number)


def _error_code(code: object) -> int | None:
    """The provider's error code; None for the HTTP status, which the package puts there when it has none."""
    return code if isinstance(code, int) and 10_000 <= code < 1_000_000 else None


def _unreadable() -> NotSent:
    return NotSent(Outcome.IN_DOUBT, "unreadable-answer", "the provider's answer could not be read")


class _OneShotHttp(HttpClient):  # type: ignore[misc]  # the package is untyped
    """One request on one fresh connection: no retry, no redirect, no log line, a timeout.

    A kept connection saves a handshake, but after an idle hour a firewall may have dropped it silently,
    and every first message of the day would end in doubt. `in_time` is asked right before the request's body is
    written; False: it is not written any more.
    """

    def __init__(self, api_base: str, timeout: timedelta, in_time: Callable[[], bool] = lambda: True) -> None:
        silent = logging.Logger("twilio")  # the package logs addresses with numbers in them at INFO
        silent.disabled = True
        super().__init__(silent, is_async=False, timeout=timeout.total_seconds())
        self._base = urlsplit(api_base)
        self._in_time = in_time

    def request(
        self,
        method: str,
        uri: str,
        params: dict[str, Any] | None = None,
        data: dict[str, Any] | None = None,
        headers: dict[str, str] | None = None,
        auth: tuple[str, str] | None = None,
        timeout: float | None = None,
        allow_redirects: bool = False,
    ) -> Response:
        """The answer, whatever its status below 500. Raises NotSent when there is none, or for a 5xx.

        `timeout` and `allow_redirects` are part of the package's interface and are not used.
        """
        body = _WatchedBody(urlencode(data or {}, doseq=True).encode("ascii"), self.timeout, self._in_time)
        try:
            with requests.Session() as session:
                # No proxy from the environment for our own machine.
                session.trust_env = not _is_loopback(self._base.hostname or "")
                answer = session.request(
                    method,
                    urlsplit(uri)._replace(scheme=self._base.scheme, netloc=self._base.netloc).geturl(),
                    params=params,
                    data=body if data else None,
                    headers=headers,
                    auth=auth,
                    # requests documents urllib3's Timeout but does not type it.
                    timeout=Timeout(total=self.timeout),  # type: ignore[arg-type]
                    allow_redirects=False,
                )
        except (OSError, HTTPError) as error:
            failure = _broken(error, body)
        else:
            if answer.status_code < 500:
                text = answer.content.decode("utf-8", errors="replace")
                return Response(answer.status_code, text, answer.headers)
            failure = _refusal(None, answer.status_code)
        raise failure


class _WatchedBody(io.BytesIO):
    """A request body that knows whether the connection has begun to read it.

    A request without its body cannot be accepted, so this one fact separates "surely not sent" from "in
    doubt"; the kinds of errors do not (a TLS failure can come before or after the request).
    After `seconds`, or once `in_time` says no, the body is no longer given out: a late request would outlive
    the sender's lease, and a sender that was suspended would send what another has sent meanwhile. It is given
    out whole at once, so that this is asked as late as can be.
    """

    def __init__(self, form: bytes, seconds: float, in_time: Callable[[], bool]) -> None:
        super().__init__(form)
        self._deadline = time.monotonic() + seconds
        self._in_time = in_time
        self.handed_over = False
        self.too_late = False

    def read(self, size: int | None = -1, /) -> bytes:
        if self.handed_over:
            return super().read(size)
        if time.monotonic() > self._deadline:
            raise TimeoutError("too late to send")
        if not self._in_time():
            self.too_late = True
            raise TimeoutError("too late to send")
        self.handed_over = True
        return super().read()


def _broken(error: Exception, body: _WatchedBody) -> NotSent:
    if body.handed_over:
        word = "timeout" if isinstance(error, requests.Timeout) else "dropped"
        return NotSent(Outcome.IN_DOUBT, word, "the connection to the provider broke before the answer")
    if body.too_late:
        return NotSent(Outcome.TRANSIENT, TOO_LATE, "it is too late for this message")
    if isinstance(error, requests.ConnectionError | requests.Timeout):
        return NotSent(Outcome.TRANSIENT, "not-connected", "no connection to the provider")
    return NotSent(Outcome.ACCOUNT, "bad-request", "the request to the provider could not be made")
