"""What the phone network tells us, over HTTP: signed by the provider's own package, kept once, answered with nothing.

Requests are signed here with `twilio.request_validator`, the package that the provider gives out. READ
"""

from __future__ import annotations

import logging
from typing import Any

import pytest
from flask.testing import FlaskClient
from opened_clinics import open_clinic
from sqlalchemy import select, text
from sqlalchemy.exc import OperationalError
from twilio.request_validator import RequestValidator
from werkzeug.datastructures import MultiDict
from werkzeug.test import TestResponse
from world import MOTHER, NOW, ZONE, Network, World

from bracewatch.services import enrolment, inbox
from bracewatch.store import Store
from bracewatch.store import tables as t
from bracewatch.web.hooks import MOST_BYTES, create_hooks_app

BASE = "https://clinic.example/bracewatch"
KEY = "an invented secret"
REPLY, STATUS = "/hooks/twilio/reply", "/hooks/twilio/status"
SID = "SM" + "0a" * 16


class Form(MultiDict[str, str]):
    """A form as the provider's package reads one with repeated names."""

    def getall(self, name: str) -> list[str]:
        return self.getlist(name)


@pytest.fixture
def family(store: Store) -> World:
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", ZONE, "tue", "+441134960001")
    world = World(store, Network(), open_clinic(store, clinic))
    world.enrol()
    world.tick()
    return world


@pytest.fixture
def client(family: World) -> FlaskClient:
    app = create_hooks_app(family.store, clock=lambda: family.now, public_base=BASE, auth_token=KEY)
    return app.test_client()


def signature(url: str, form: Form, secret: str = KEY) -> str:
    return str(RequestValidator(secret).compute_signature(url, form))


def post(client: FlaskClient, path: str, form: dict[str, Any] | None = None, query: str = "") -> TestResponse:
    """What the provider sends: the form, signed for the public address."""
    fields = Form(form or {})
    where = f"{path}?{query}" if query else path
    return client.post(where, data=fields, headers={"X-Twilio-Signature": signature(BASE + where, fields)})


def said(body: str = "4", **more: Any) -> dict[str, Any]:
    return {"MessageSid": SID, "From": MOTHER, "To": "+447700900999", "Body": body, "NumMedia": "0", **more}


def everything(store: Store) -> dict[str, list[Any]]:
    """All rows of all tables."""
    with store.read() as connection:
        return {name: list(connection.execute(select(table))) for name, table in t.metadata.tables.items()}


# --- replies ------------------------------------------------------------------------------------------------


def test_a_signed_reply_is_taken_in_and_answered_with_nothing(client: FlaskClient, family: World) -> None:
    answer = post(client, REPLY, said("her heel is red"))
    assert (answer.status_code, answer.mimetype) == (200, "text/xml")
    assert answer.get_data(as_text=True) == "<Response/>"
    family.tick()
    assert family.flags() == ["sore-skin"]
    assert family.said()[-1] == "trouble_heard"


def test_a_reply_that_comes_again_is_the_same_reply(client: FlaskClient, family: World) -> None:
    for body in ("call me", "call me", "something else under the same name"):
        assert post(client, REPLY, said(body)).status_code == 200
    assert [(row.sid, row.body, row.received_at) for row in family.rows(t.inbound)] == [(SID, "call me", family.now)]
    family.tick()
    assert family.said().count("call_heard") == 1


def test_fields_that_nobody_told_us_of_and_repeated_ones_are_signed_over_too(
    client: FlaskClient, family: World
) -> None:
    form = said("4", Shiny="☃ +&=", NewField="", Twice=["b", "a", "b"])
    assert post(client, REPLY, form).status_code == 200
    assert len(family.rows(t.inbound)) == 1


def test_a_reply_over_whatsapp_is_that_of_the_number(client: FlaskClient, family: World) -> None:
    post(client, REPLY, said("call me", From=f"whatsapp:{MOTHER}"))
    kept = family.rows(t.inbound)[0]
    assert kept.phone == MOTHER
    assert kept.child_id is not None


def test_a_picture_without_a_word_is_kept_for_a_person_and_not_asked_again(client: FlaskClient, family: World) -> None:
    post(client, REPLY, said("", NumMedia="1", MediaUrl0="https://media.example/1"))
    kept = family.rows(t.inbound)[0]
    assert (kept.body, kept.meaning, kept.next) == ("", "unread", "to_staff")
    family.tick()
    assert family.flags() == ["unread-reply"]
    assert family.rows(t.flag)[0].evidence == ["a message without text, perhaps a picture"]
    assert family.said()[-1] == "call_heard"


def test_a_reply_from_a_number_nobody_has_is_kept(client: FlaskClient, family: World) -> None:
    assert post(client, REPLY, said("hello", From="+447700900123")).status_code == 200
    assert [(row.phone, row.child_id) for row in family.rows(t.inbound)] == [("+447700900123", None)]


# --- status reports -----------------------------------------------------------------------------------------


def test_a_signed_report_is_kept_with_our_reference_out_of_the_address(client: FlaskClient, family: World) -> None:
    welcome = family.rows(t.outbox)[0]
    form = {"MessageSid": welcome.sid, "MessageStatus": "delivered"}
    assert post(client, STATUS, form, f"reference={welcome.key.replace(':', '%3A')}").status_code == 200
    kept = family.rows(t.delivery_report)[0]
    assert (kept.sid, kept.status, kept.reference, kept.code) == (welcome.sid, "delivered", welcome.key, None)
    assert family.rows(t.outbox)[0].delivery == "delivered"


def test_a_report_of_a_message_that_nobody_knows_is_kept_and_taken(client: FlaskClient, family: World) -> None:
    before = family.rows(t.outbox)
    assert post(client, STATUS, {"MessageSid": SID, "MessageStatus": "sent"}).status_code == 200
    assert len(family.rows(t.delivery_report)) == 1
    assert family.rows(t.outbox) == before


def test_an_error_code_is_kept_with_its_report(client: FlaskClient, family: World) -> None:
    form = {"MessageSid": family.rows(t.outbox)[0].sid, "MessageStatus": "undelivered", "ErrorCode": "30005"}
    post(client, STATUS, form)
    assert family.rows(t.delivery_report)[0].code == "30005"
    family.tick()
    assert family.flags() == ["number-fails"]


# --- what is refused ----------------------------------------------------------------------------------------

FORGED = [
    pytest.param({}, id="no signature"),
    pytest.param({"X-Twilio-Signature": ""}, id="an empty signature"),
    pytest.param({"X-Twilio-Signature": "RSOYDt4T1cUTdK1PDd93/VVr8B8="}, id="the signature of something else"),
    pytest.param({"X-Twilio-Signature": "\xff\xfe"}, id="no base64"),
    pytest.param(
        {"X-Twilio-Signature": signature(BASE + REPLY, Form(said("STOP")), "guess")}, id="signed with another secret"
    ),
    pytest.param(
        {"X-Twilio-Signature": signature("https://evil.example" + REPLY, Form(said("STOP"))), "Host": "evil.example"},
        id="signed for the host the request names",
    ),
    pytest.param({"X-Twilio-Signature": signature(BASE + REPLY, Form(said("4")))}, id="signed over another text"),
    pytest.param(
        {"X-Twilio-Signature": signature("https://evil.example" + REPLY, Form(said("STOP")))}
        | {"X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "https"},
        id="signed for the host a proxy is said to have seen",
    ),
]


@pytest.mark.parametrize("headers", FORGED)
def test_what_the_provider_did_not_sign_is_refused_and_changes_nothing(
    client: FlaskClient, family: World, headers: dict[str, str]
) -> None:
    before = everything(family.store)
    answer = client.post(REPLY, data=Form(said("STOP")), headers=headers)
    assert answer.status_code == 403
    assert answer.get_data() == b""
    assert everything(family.store) == before


def test_a_query_that_was_not_signed_is_refused_and_changes_nothing(client: FlaskClient, family: World) -> None:
    before = everything(family.store)
    form = Form({"MessageSid": SID, "MessageStatus": "failed", "ErrorCode": "30005"})
    signed = {"X-Twilio-Signature": signature(BASE + STATUS, form)}
    reference = family.rows(t.outbox)[0].key
    assert client.post(f"{STATUS}?reference={reference}", data=form, headers=signed).status_code == 403
    assert everything(family.store) == before


def test_a_reply_signed_for_the_other_hook_is_refused(client: FlaskClient, family: World) -> None:
    form = Form(said("STOP"))
    answer = client.post(REPLY, data=form, headers={"X-Twilio-Signature": signature(BASE + STATUS, form)})
    assert answer.status_code == 403
    assert family.rows(t.inbound) == []


@pytest.mark.parametrize("kind", ["application/json", "text/plain", "multipart/form-data; boundary=x", None])
def test_only_a_plain_form_is_taken_in_though_its_address_was_signed(
    client: FlaskClient, family: World, kind: str | None
) -> None:
    signed = {"X-Twilio-Signature": signature(BASE + REPLY, Form())}
    answer = client.post(REPLY, data=b'{"Body": "STOP"}', content_type=kind, headers=signed)
    assert answer.status_code == 403
    assert family.rows(t.inbound) == []


@pytest.mark.parametrize("path", [REPLY, STATUS])
@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE", "PATCH"])
def test_only_posts_are_taken_in(client: FlaskClient, path: str, method: str) -> None:
    answer = client.open(path, method=method)
    assert (answer.status_code, answer.get_data()) == (405, b"")


def test_too_much_is_refused_before_it_is_read(client: FlaskClient, family: World) -> None:
    answer = post(client, REPLY, said("x" * MOST_BYTES))
    assert (answer.status_code, answer.get_data()) == (413, b"")
    assert family.rows(t.inbound) == []


def test_the_longest_text_in_the_costliest_script_is_taken_in(client: FlaskClient, family: World) -> None:
    assert post(client, REPLY, said("😀" * 1600)).status_code == 200
    assert family.rows(t.inbound)[0].body == "😀" * 1600


@pytest.mark.parametrize("name", ["MessageSid", "From"])
def test_a_signed_reply_that_lacks_what_names_it_is_not_taken_in(client: FlaskClient, family: World, name: str) -> None:
    assert post(client, REPLY, {**said("STOP"), name: ""}).status_code == 400
    assert family.rows(t.inbound) == []


def test_there_is_nothing_else_here(client: FlaskClient) -> None:
    for path in ("/", "/calls", "/families", "/hooks/twilio/", "/static/style.css"):
        answer = client.get(path)
        assert (answer.status_code, answer.get_data()) == (404, b""), path


def test_no_answer_is_kept_by_anybody_on_the_way(client: FlaskClient) -> None:
    for answer in (post(client, REPLY, said()), client.post(REPLY), client.get("/")):
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


# --- when our side fails ------------------------------------------------------------------------------------


def test_a_fault_of_ours_says_and_logs_nothing_of_the_family(
    client: FlaskClient, family: World, caplog: pytest.LogCaptureFixture
) -> None:
    with family.store.begin() as connection:
        connection.execute(text("DROP TABLE wear_report"))
        connection.execute(text("DROP TABLE inbound"))
    with caplog.at_level(logging.DEBUG):
        answer = post(client, REPLY, said("my heel hurts"))
    assert (answer.status_code, answer.get_data()) == (500, b"")
    assert "failed" in caplog.text
    assert MOTHER not in caplog.text
    assert "heel" not in caplog.text


def test_what_the_database_gave_up_to_end_a_deadlock_is_done_at_the_second_try(
    client: FlaskClient, family: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    receive, tries = inbox.receive, []

    def deadlocked_once(*given: Any, **named: Any) -> Any:
        tries.append(named["sid"])
        if len(tries) == 1:
            raise OperationalError("INSERT", {}, Exception("deadlock detected"))
        return receive(*given, **named)

    monkeypatch.setattr(inbox, "receive", deadlocked_once)
    assert post(client, REPLY, said("call me")).status_code == 200
    assert len(tries) == 2
    assert len(family.rows(t.inbound)) == 1


# --- how it is set up ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "base", ["http://clinic.example", "clinic.example", "https://", "https://a@b.example", "https://b.example/?x=1", ""]
)
def test_a_public_address_that_is_not_https_is_refused(store: Store, base: str) -> None:
    with pytest.raises(ValueError, match=r"https://clinic\.example"):
        create_hooks_app(store, clock=lambda: NOW, public_base=base, auth_token=KEY)


def test_an_empty_secret_is_refused(store: Store) -> None:
    with pytest.raises(ValueError, match="secret is empty"):
        create_hooks_app(store, clock=lambda: NOW, public_base=BASE, auth_token="")


def test_a_slash_at_the_end_of_the_public_address_makes_no_difference(family: World) -> None:
    app = create_hooks_app(family.store, clock=lambda: NOW, public_base=BASE + "/", auth_token=KEY)
    assert post(app.test_client(), REPLY, said()).status_code == 200
