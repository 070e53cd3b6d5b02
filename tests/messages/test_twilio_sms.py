"""The Twilio adapter against a provider on this machine's loopback: what it asks, and how it fails."""

import json
import logging
import socket
import ssl
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from urllib.parse import parse_qsl, urlsplit

import pytest
import urllib3.connection
from hypothesis import given
from hypothesis import strategies as st
from provider import (
    BROKEN_JSON,
    CUT_SHORT,
    DEAD,
    DROP_AFTER_ACCEPTING,
    DROP_BEFORE_READING,
    FAMILY,
    OUR_NUMBER,
    SERVER_ERROR,
    STALL_AFTER_ACCEPTING,
    STOPPED,
    TOO_MANY_REQUESTS,
    UNAVAILABLE_AFTER_ACCEPTING,
    Fault,
    Provider,
    refusal,
)

from bracewatch.messages.adapter import Accepted, NotSent, Outcome, Outgoing
from bracewatch.messages.twilio_sms import TwilioSettings, TwilioSms, _with_reference

SettingsFor = Callable[..., TwilioSettings]
SERVICE = "MG" + "2a" * 16
BODY_CANARY = "How many hours did the canary sing yesterday?"
A_SID = "SM" + "0b" * 16


def text(to: str = FAMILY, reference: str = "check-in/17/3", **useful: float) -> Outgoing:
    return Outgoing(to, BODY_CANARY, reference, timedelta(**(useful or {"hours": 1})))


def failure_of(settings: TwilioSettings, message: Outgoing | None = None) -> NotSent:
    with pytest.raises(NotSent) as caught:
        TwilioSms(settings).send(message or text())
    return caught.value


# What the adapter asks for.


def test_a_send_asks_for_exactly_these_fields(provider: Provider, settings_for: SettingsFor) -> None:
    accepted = TwilioSms(settings_for()).send(text())
    assert provider.forms == [{"To": FAMILY, "From": OUR_NUMBER, "Body": BODY_CANARY, "ValidityPeriod": "3600"}]
    assert accepted == Accepted(sid=str(provider.messages[0]["sid"]), parts=1)


def test_a_messaging_service_takes_the_place_of_the_number(provider: Provider, settings_for: SettingsFor) -> None:
    settings = settings_for(from_number=None, messaging_service_sid=SERVICE)
    accepted = TwilioSms(settings).send(text())
    assert provider.forms[0]["MessagingServiceSid"] == SERVICE
    assert "From" not in provider.forms[0]
    # Public API description, num_segments (READ): a service answers "0" while it has chosen no sender.
    assert accepted.parts is None


@pytest.mark.parametrize(
    ("useful", "seconds"),
    [
        ({"seconds": 0.2}, "1"),
        ({"seconds": 90.9}, "90"),  # never longer than it is useful
        ({"hours": 10}, "36000"),
        ({"days": 3}, "36000"),
    ],
)
def test_the_validity_period_is_the_usefulness_within_the_limits(
    provider: Provider, settings_for: SettingsFor, useful: dict[str, float], seconds: str
) -> None:
    # Public API description, ValidityPeriod (READ): whole seconds from 1 to 36,000.
    TwilioSms(settings_for()).send(text(**useful))
    assert provider.forms[0]["ValidityPeriod"] == seconds


def test_the_report_address_carries_the_reference_encoded_and_keeps_its_own_query(
    provider: Provider, settings_for: SettingsFor
) -> None:
    settings = settings_for(status_callback_url="https://clinic.example/hooks/report?site=n%20e&v=1")
    TwilioSms(settings).send(text(reference="visit 7/ä&v=2#x"))
    assert provider.forms[0]["StatusCallback"] == (
        "https://clinic.example/hooks/report?site=n%20e&v=1&reference=visit%207%2F%C3%A4%26v%3D2%23x"
    )


def test_a_report_address_without_a_query_gets_one() -> None:
    assert _with_reference("https://clinic.example/r", "v-1") == "https://clinic.example/r?reference=v-1"


def test_without_a_report_address_none_is_asked_for(provider: Provider, settings_for: SettingsFor) -> None:
    TwilioSms(settings_for(status_callback_url=None)).send(text())
    assert "StatusCallback" not in provider.forms[0]


@given(reference=st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=100))
def test_any_reference_comes_back_from_the_report_address(reference: str) -> None:
    address = _with_reference("https://clinic.example/r?a=1", Outgoing(FAMILY, "b", reference, timedelta(1)).reference)
    assert parse_qsl(urlsplit(address).query) == [("a", "1"), ("reference", reference)]
    assert address.isascii()


def test_one_adapter_serves_several_threads(provider: Provider, settings_for: SettingsFor) -> None:
    channel = TwilioSms(settings_for())
    with ThreadPoolExecutor(8) as pool:
        sids = {taken.sid for taken in pool.map(channel.send, [text()] * 24)}
    assert len(sids) == len(provider.messages) == 24


# How it fails: faults after the request has begun to be written.


@pytest.mark.parametrize(
    ("fault", "outcome", "code", "kept"),
    [
        (DROP_BEFORE_READING, Outcome.IN_DOUBT, "dropped", 0),
        (DROP_AFTER_ACCEPTING, Outcome.IN_DOUBT, "dropped", 1),
        (CUT_SHORT, Outcome.IN_DOUBT, "dropped", 1),
        (BROKEN_JSON, Outcome.IN_DOUBT, "unreadable-answer", 1),
        (SERVER_ERROR, Outcome.IN_DOUBT, "http-500", 0),
        (UNAVAILABLE_AFTER_ACCEPTING, Outcome.IN_DOUBT, "http-503", 1),
        (TOO_MANY_REQUESTS, Outcome.TRANSIENT, "20429", 0),
        (Fault(status=429, body=b"slow down"), Outcome.TRANSIENT, "http-429", 0),
        (refusal(20003, 401), Outcome.ACCOUNT, "20003", 0),
        (Fault(status=401, body=b"<html>"), Outcome.ACCOUNT, "http-401", 0),
        (refusal(21606), Outcome.ACCOUNT, "21606", 0),
        (refusal(21614), Outcome.PERMANENT, "21614", 0),
        (refusal(21610), Outcome.OPTED_OUT, "21610", 0),
        (refusal(21999), Outcome.PERMANENT, "21999", 0),
        (Fault(status=400, body=b"no"), Outcome.PERMANENT, "http-400", 0),
        (Fault(status=404, body=b"no such page"), Outcome.ACCOUNT, "http-404", 0),
    ],
)
def test_a_fault_has_its_outcome_and_is_not_tried_again(
    provider: Provider, settings_for: SettingsFor, fault: Fault, outcome: Outcome, code: str, kept: int
) -> None:
    provider.fail_next(fault)
    failure = failure_of(settings_for())
    assert (failure.outcome, failure.code) == (outcome, code)
    assert provider.creates == 1
    assert len(provider.messages) == kept


def test_a_stalled_answer_is_in_doubt_once_the_timeout_has_passed(
    provider: Provider, settings_for: SettingsFor
) -> None:
    provider.fail_next(STALL_AFTER_ACCEPTING)
    failure = failure_of(settings_for(timeout=timedelta(seconds=0.3)))
    # "dropped" would mean that the adapter waited until the provider gave up.
    assert (failure.outcome, failure.code) == (Outcome.IN_DOUBT, "timeout")
    assert provider.creates == 1


def test_a_tls_failure_after_the_request_was_written_is_in_doubt(
    provider: Provider, settings_for: SettingsFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(_: object) -> None:
        raise ssl.SSLError("bad record mac")

    monkeypatch.setattr(urllib3.connection.HTTPConnection, "getresponse", torn)
    failure = failure_of(settings_for())
    assert (failure.outcome, failure.code) == (Outcome.IN_DOUBT, "dropped")


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"null",
        b'"SM"',
        b"7",
        b"{}",
        b'{"sid": null}',
        b'{"sid": 7}',
        b'{"sid": "SM12"}',
        b"\xff\xfe",
        b"[" * 100_000,
        json.dumps({"sid": A_SID, "date_sent": 7}).encode(),
        json.dumps({"sid": A_SID, "date_sent": "Fri, 99 May 2019 99:99:99 +0000"}).encode(),
    ],
)
def test_an_unreadable_success_is_in_doubt(provider: Provider, settings_for: SettingsFor, body: bytes) -> None:
    provider.fail_next(Fault(status=201, body=body))
    failure = failure_of(settings_for())
    assert (failure.outcome, failure.code) == (Outcome.IN_DOUBT, "unreadable-answer")


@pytest.mark.parametrize("parts", ["1", "2", "0", "", None, "x", "-1", "999999999"])
def test_a_success_counts_even_when_its_parts_cannot_be_read(
    provider: Provider, settings_for: SettingsFor, parts: str | None
) -> None:
    body = json.dumps({"sid": A_SID, "status": "queued", "num_segments": parts}).encode()
    provider.fail_next(Fault(status=201, body=body))
    accepted = TwilioSms(settings_for()).send(text())
    assert accepted == Accepted(A_SID, {"1": 1, "2": 2}.get(parts or ""))


@pytest.mark.parametrize(
    ("status", "error_code", "outcome", "code"),
    [
        ("failed", 30007, Outcome.PERMANENT, "30007"),
        ("failed", 30002, Outcome.ACCOUNT, "30002"),
        ("failed", None, Outcome.PERMANENT, "failed"),
        ("undelivered", 30003, Outcome.TRANSIENT, "30003"),
        ("canceled", None, Outcome.PERMANENT, "canceled"),
    ],
)
def test_a_message_given_up_at_once_is_not_taken_for_sent(
    provider: Provider,
    settings_for: SettingsFor,
    status: str,
    error_code: int | None,
    outcome: Outcome,
    code: str,
) -> None:
    body = json.dumps({"sid": A_SID, "status": status, "error_code": error_code}).encode()
    provider.fail_next(Fault(status=201, body=body))
    failure = failure_of(settings_for())
    assert (failure.outcome, failure.code) == (outcome, code)


@pytest.mark.parametrize(
    ("code", "status", "outcome", "shown"),
    [
        (21610, 400, Outcome.OPTED_OUT, "21610"),
        (21610, "400", Outcome.OPTED_OUT, "21610"),
        ("x", 401, Outcome.ACCOUNT, "http-401"),
        (None, "x", Outcome.PERMANENT, "http-unknown"),
        (447700900111, 400, Outcome.PERMANENT, "http-400"),  # a number where a code should be is not shown
    ],
)
def test_the_other_error_form_of_the_api_is_read_too(
    provider: Provider, settings_for: SettingsFor, code: object, status: object, outcome: Outcome, shown: str
) -> None:
    # RFC 9457, section 3.1 (MEMORY): type, title, status; the API adds code.
    body = json.dumps({"type": "about:blank", "title": "no", "status": status, "code": code}).encode()
    provider.fail_next(Fault(status=400, body=body))
    failure = failure_of(settings_for())
    assert (failure.outcome, failure.code) == (outcome, shown)


@pytest.mark.parametrize("status", [301, 302, 307, 308])
def test_a_redirect_is_not_followed(provider: Provider, settings_for: SettingsFor, status: int) -> None:
    elsewhere = Provider().start()
    try:
        provider.fail_next(Fault(status=status, headers=(("Location", elsewhere.base + elsewhere.path),)))
        failure = failure_of(settings_for())
    finally:
        elsewhere.stop()
    assert (failure.outcome, failure.code) == (Outcome.ACCOUNT, f"http-{status}")
    assert (provider.creates, elsewhere.creates) == (1, 0)


# How it fails: the request was never written.


def test_a_refused_connection_is_surely_not_sent(settings_for: SettingsFor) -> None:
    with socket.socket() as taken:  # bound but not listening: nothing else can answer on this port
        taken.bind(("127.0.0.1", 0))
        failure = failure_of(settings_for(api_base=f"http://127.0.0.1:{taken.getsockname()[1]}"))
    assert (failure.outcome, failure.code) == (Outcome.TRANSIENT, "not-connected")


def test_an_unknown_host_is_surely_not_sent(settings_for: SettingsFor, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_such_name(*_: object, **__: object) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", no_such_name)
    failure = failure_of(settings_for(api_base="https://provider.invalid"))
    assert (failure.outcome, failure.code) == (Outcome.TRANSIENT, "not-connected")


def test_a_connection_that_never_comes_up_is_surely_not_sent(
    settings_for: SettingsFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def too_slow(*_: object, **__: object) -> None:
        raise TimeoutError("timed out")

    monkeypatch.setattr(urllib3.connection.connection, "create_connection", too_slow)
    failure = failure_of(settings_for())
    assert (failure.outcome, failure.code) == (Outcome.TRANSIENT, "not-connected")


def test_a_failed_tls_handshake_is_surely_not_sent(provider: Provider, settings_for: SettingsFor) -> None:
    failure = failure_of(settings_for(api_base=provider.base.replace("http:", "https:")))
    assert (failure.outcome, failure.code) == (Outcome.TRANSIENT, "not-connected")
    assert provider.creates == 0


def test_a_connection_that_comes_up_after_the_timeout_is_not_written_to(
    provider: Provider, settings_for: SettingsFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = iter([100.0, 100.4])  # the body is made, then asked for 0.4 s later
    monkeypatch.setattr("bracewatch.messages.twilio_sms.time.monotonic", lambda: next(later, 100.5))
    failure = failure_of(settings_for(timeout=timedelta(seconds=0.3)))
    assert (failure.outcome, failure.code) == (Outcome.TRANSIENT, "not-connected")
    assert provider.messages == []


def test_a_request_that_cannot_be_made_is_our_own_mistake(
    settings_for: SettingsFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", "no-such-file.pem")
    failure = failure_of(settings_for(api_base="https://provider.invalid"))
    assert (failure.outcome, failure.code) == (Outcome.ACCOUNT, "bad-request")


# What stays secret.


def test_the_log_holds_no_number_body_or_secret(
    provider: Provider, settings_for: SettingsFor, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    channel = TwilioSms(settings_for(status_callback_url="https://clinic.example/r"))
    channel.send(text())
    for number, fault in ((FAMILY, DROP_AFTER_ACCEPTING), (FAMILY, SERVER_ERROR), (DEAD, None), (STOPPED, None)):
        if fault is not None:
            provider.fail_next(fault)
        with pytest.raises(NotSent):
            channel.send(text(to=number))
    written = caplog.text + "".join(record.getMessage() for record in caplog.records)
    for canary in (FAMILY, DEAD, STOPPED, OUR_NUMBER, BODY_CANARY, provider.auth_token):
        assert canary not in written
        assert canary.removeprefix("+") not in written
    assert not [record for record in caplog.records if record.name.startswith("twilio")]


@pytest.mark.parametrize("fault", [DROP_AFTER_ACCEPTING, BROKEN_JSON, SERVER_ERROR, refusal(21211, 400, f"{FAMILY}")])
def test_a_failure_carries_nothing_of_the_request(provider: Provider, settings_for: SettingsFor, fault: Fault) -> None:
    provider.fail_next(fault)
    failure = failure_of(settings_for())
    assert failure.__cause__ is None
    assert failure.__context__ is None
    told = "".join([repr(failure), *traceback.format_exception(failure)])
    for canary in (FAMILY, OUR_NUMBER, BODY_CANARY, provider.auth_token, provider.account_sid):
        assert canary not in told


def test_the_secret_is_not_shown_when_printed(provider: Provider, settings_for: SettingsFor) -> None:
    settings = settings_for()
    channel = TwilioSms(settings)
    shown = f"{settings!r} {settings} {channel!r} {channel}"
    assert provider.account_sid in shown
    assert provider.auth_token not in shown


def test_a_proxy_of_the_environment_is_not_used_for_our_own_machine(
    provider: Provider, settings_for: SettingsFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
            monkeypatch.setenv(name, f"http://127.0.0.1:{taken.getsockname()[1]}")
        assert TwilioSms(settings_for()).send(text()).sid
