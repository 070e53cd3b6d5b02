"""The Twilio adapter's lists, its last moment, WhatsApp's window, and the loopback provider's delivery reports."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from provider import DROP_BEFORE_READING, FAMILY, OUR_NUMBER, SERVER_ERROR, Fault, Provider, refusal
from twilio.request_validator import RequestValidator

from bracewatch.messages.adapter import TOO_LATE, NotListed, NotSent, Outcome, Outgoing, Template
from bracewatch.messages.twilio_sms import TwilioSettings, TwilioSms, TwilioWhatsApp

SettingsFor = Callable[..., TwilioSettings]
NOW = datetime(2026, 3, 2, 0, 1, tzinfo=UTC)
A_DAY = timedelta(days=1)


def text(**changes: object) -> Outgoing:
    given: dict[str, object] = {"to": FAMILY, "body": "hello", "reference": "r-1", "useful_for": timedelta(hours=1)}
    return Outgoing(**{**given, **changes})  # type: ignore[arg-type]


# The list.


def test_every_page_of_the_list_is_read(provider: Provider, settings_for: SettingsFor) -> None:
    provider.clock = lambda: NOW
    form = {"To": FAMILY, "From": OUR_NUMBER, "Body": "hello"}
    sids = {provider.accept(form)["sid"] for _ in range(2100)}  # pages hold 1,000 at most (public description, READ)
    assert {one.sid for one in TwilioSms(settings_for()).listing(NOW, None)} == sids


def test_a_message_of_the_evening_before_midnight_is_listed_by_its_moment(
    provider: Provider, settings_for: SettingsFor
) -> None:
    provider.clock = lambda: NOW - timedelta(minutes=2)
    provider.accept({"To": FAMILY, "From": OUR_NUMBER, "Body": "hello"})
    channel = TwilioSms(settings_for())
    (listed,) = channel.listing(NOW - timedelta(minutes=5), FAMILY)
    assert listed.created_at == NOW - timedelta(minutes=2)
    assert channel.listing(NOW, FAMILY) == []


@pytest.mark.parametrize(
    "fault",
    [
        SERVER_ERROR,
        DROP_BEFORE_READING,
        refusal(20003, 401),
        Fault(status=200, body=b"{}"),
        Fault(status=200, body=b'{"messages": [{"sid": "SM1"}]}'),
        Fault(status=200, body=b"<html>"),
        Fault(status=200, body=b'{"messages": [', cut_short=True),
        Fault(stalls=1.0),
    ],
)
def test_a_list_that_cannot_be_read_is_no_empty_list(
    provider: Provider, settings_for: SettingsFor, fault: Fault
) -> None:
    provider.accept({"To": FAMILY, "From": OUR_NUMBER, "Body": "hello"})
    channel = TwilioSms(settings_for(timeout=timedelta(seconds=0.5)))
    for read in (lambda: channel.listing(NOW, None), lambda: channel.heard(NOW)):
        provider.fail_next(fault, method="GET")
        with pytest.raises(NotListed) as caught:
            read()
        assert caught.value.__context__ is None  # the errors underneath may name a number
    assert provider.contract_faults == []


def test_a_list_whose_second_page_cannot_be_read_is_no_list(provider: Provider, settings_for: SettingsFor) -> None:
    provider.clock = lambda: NOW
    for _ in range(1001):
        provider.accept({"To": FAMILY, "From": OUR_NUMBER, "Body": "hello"})
    ours = provider.next_fault
    asked = []

    def second(method: str) -> Fault | None:
        asked.append(method)
        return SERVER_ERROR if len(asked) == 2 else ours(method)

    provider.next_fault = second  # type: ignore[method-assign]
    with pytest.raises(NotListed):
        TwilioSms(settings_for()).listing(NOW, None)


def test_replies_are_heard_in_the_order_in_which_they_came(provider: Provider, settings_for: SettingsFor) -> None:
    moments = iter([NOW, NOW + timedelta(minutes=2), NOW + timedelta(minutes=1)])
    provider.clock = lambda: next(moments)
    sids = [provider.receive(FAMILY, body) for body in ("first", "third", "second")]
    heard = TwilioSms(settings_for()).heard(NOW)
    assert [reply.body for reply in heard] == ["first", "second", "third"]
    assert (heard[0].sid, heard[0].phone, heard[0].received_at) == (sids[0], FAMILY, NOW)


def test_each_channel_hears_and_lists_its_own_numbers_alone(provider: Provider, settings_for: SettingsFor) -> None:
    provider.receive(FAMILY, "by text")
    provider.receive(f"whatsapp:{FAMILY}", "by whatsapp")
    sms, whatsapp = TwilioSms(settings_for()), TwilioWhatsApp(settings_for())
    since = datetime.now(UTC) - A_DAY
    sms.send(text())
    whatsapp.send(text(reference="r-2", body="hello there", heard_from_at=datetime.now(UTC)))
    assert [reply.body for reply in sms.heard(since)] == ["by text"]
    assert [(reply.phone, reply.body) for reply in whatsapp.heard(since)] == [(FAMILY, "by whatsapp")]
    assert [one.body for one in sms.listing(since, None)] == ["hello"]
    assert [(one.to, one.body) for one in whatsapp.listing(since, FAMILY)] == [(FAMILY, "hello there")]


# The last moment.


def test_nothing_is_written_after_a_messages_last_moment(provider: Provider, settings_for: SettingsFor) -> None:
    channel = TwilioSms(settings_for(), clock=lambda: NOW)
    with pytest.raises(NotSent) as caught:
        channel.send(text(not_after=NOW - timedelta(seconds=1)))
    assert (caught.value.outcome, caught.value.code) == (Outcome.TRANSIENT, TOO_LATE)
    assert provider.messages == []


def test_the_last_moment_is_looked_at_when_the_connection_stands(provider: Provider, settings_for: SettingsFor) -> None:
    asked_at_creates: list[int] = []

    def clock() -> datetime:
        asked_at_creates.append(len(provider.forms))
        return NOW + timedelta(hours=1)  # as if the process had been suspended since it was handed the message

    with pytest.raises(NotSent, match=TOO_LATE):
        TwilioSms(settings_for(), clock=clock).send(text(not_after=NOW))
    assert asked_at_creates == [0]


def test_before_its_last_moment_a_message_is_sent(provider: Provider, settings_for: SettingsFor) -> None:
    channel = TwilioSms(settings_for(), clock=lambda: NOW)
    assert channel.send(text(not_after=NOW + timedelta(seconds=1))).sid


# Who it comes from.


@pytest.mark.parametrize(
    ("sender", "field"), [("+447700900555", "From"), ("12345", "From"), ("MG" + "2a" * 16, "MessagingServiceSid")]
)
def test_a_messages_own_sender_takes_the_place_of_the_settings(
    provider: Provider, settings_for: SettingsFor, sender: str, field: str
) -> None:
    TwilioSms(settings_for()).send(text(sender=sender))
    assert provider.forms[0][field] == sender
    assert len({"From", "MessagingServiceSid"} & set(provider.forms[0])) == 1


# WhatsApp: free text for a day after the person's last message, a template otherwise (public error 63016, READ).


def test_within_a_day_of_a_message_free_text_goes_out(provider: Provider, settings_for: SettingsFor) -> None:
    provider.clock = lambda: NOW
    provider.receive(f"whatsapp:{FAMILY}", "hello")
    channel = TwilioWhatsApp(settings_for(), clock=lambda: NOW)
    channel.send(text(heard_from_at=NOW - timedelta(hours=23), template=Template("HX" + "1a" * 16)))
    (form,) = provider.forms
    assert (form["To"], form["From"], form["Body"]) == (f"whatsapp:{FAMILY}", f"whatsapp:{OUR_NUMBER}", "hello")
    assert "ContentSid" not in form


@pytest.mark.parametrize("heard_from_at", [None, NOW - timedelta(hours=24)])
def test_later_than_that_an_approved_template_takes_its_place(
    provider: Provider, settings_for: SettingsFor, heard_from_at: datetime | None
) -> None:
    channel = TwilioWhatsApp(settings_for(), clock=lambda: NOW)
    template = Template("HX" + "1a" * 16, {"1": "Tuesday", "2": "Green Hill"})
    channel.send(text(heard_from_at=heard_from_at, template=template))
    (form,) = provider.forms
    assert form["ContentSid"] == template.sid
    assert json.loads(form["ContentVariables"]) == template.gaps
    assert "Body" not in form


def test_without_a_template_nothing_is_asked_of_the_provider_and_no_number_is_blamed(
    provider: Provider, settings_for: SettingsFor
) -> None:
    with pytest.raises(NotSent) as caught:
        TwilioWhatsApp(settings_for(), clock=lambda: NOW).send(text())
    assert (caught.value.outcome, caught.value.code) == (Outcome.PERMANENT, "no-template")
    assert not caught.value.about_number
    assert provider.creates == 0


# The number, or only the message.


@pytest.mark.parametrize(("code", "about_number"), [(21614, True), (21211, True), (21999, False), (21610, False)])
def test_only_codes_about_the_number_say_so(
    provider: Provider, settings_for: SettingsFor, code: int, about_number: bool
) -> None:
    provider.fail_next(refusal(code))
    with pytest.raises(NotSent) as caught:
        TwilioSms(settings_for()).send(text())
    assert caught.value.about_number is about_number


# Delivery reports of the loopback provider.


@contextmanager
def report_reader() -> Iterator[tuple[str, list[tuple[str, dict[str, str], str]]]]:
    """An address for reports on this machine, and what came to it: path, form, signature."""
    from urllib.parse import parse_qsl

    came: list[tuple[str, dict[str, str], str]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            form = dict(parse_qsl(self.rfile.read(int(self.headers["Content-Length"])).decode()))
            came.append((self.path, form, self.headers["X-Twilio-Signature"]))
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name in http.server
            """Silent."""

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/report", came
    server.shutdown()
    server.server_close()
    thread.join(timeout=5)


def test_reports_come_on_demand_repeated_reversed_or_before_the_answer(
    provider: Provider, settings_for: SettingsFor
) -> None:
    with report_reader() as (address, came):
        channel = TwilioSms(settings_for(status_callback_url=address))
        sid = channel.send(text()).sid
        assert came == []
        assert provider.report(sid, "delivered", "sent", "sent") == [204, 204, 204]
        provider.reports_early = ("queued",)
        early = channel.send(text(reference="r-2")).sid
    assert [(path, form["MessageStatus"]) for path, form, _ in came] == [
        *(("/report?reference=r-1", status) for status in ("delivered", "sent", "sent")),
        ("/report?reference=r-2", "queued"),
    ]
    assert came[-1][1]["MessageSid"] == early


def test_a_forged_report_has_a_signature_that_does_not_fit(provider: Provider, settings_for: SettingsFor) -> None:
    with report_reader() as (address, came):
        sid = TwilioSms(settings_for(status_callback_url=address)).send(text()).sid
        provider.report(sid, "sent")
        provider.report(sid, "sent", token="another")
    ours = RequestValidator(provider.auth_token)
    url = f"{address}?reference=r-1"
    assert [ours.validate(url, form, signature) for _, form, signature in came] == [True, False]
