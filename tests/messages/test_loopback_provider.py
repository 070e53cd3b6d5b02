"""The loopback provider itself: the tests that rest on it are worth no more than it is."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from provider import FAMILY, OUR_NUMBER, Provider, refusal
from twilio.base.exceptions import TwilioException, TwilioRestException
from twilio.rest import Client

from bracewatch.messages.adapter import NotSent, Outgoing
from bracewatch.messages.twilio_sms import TwilioSettings, TwilioSms, _OneShotHttp

SettingsFor = Callable[..., TwilioSettings]
SERVICE = "MG" + "2a" * 16


def text(to: str) -> Outgoing:
    return Outgoing(to=to, body="hello", reference="check-in/17/3", useful_for=timedelta(hours=1))


def client_of(provider: Provider) -> Client:
    http = _OneShotHttp(provider.base, timedelta(seconds=5))
    return Client(provider.account_sid, provider.auth_token, http_client=http)


def test_the_loopback_provider_answers_with_the_fields_of_the_public_api(
    provider: Provider, settings_for: SettingsFor
) -> None:
    TwilioSms(settings_for()).send(text(FAMILY))
    # Public API description, 2010-04-01, schema of a message (READ).
    assert set(provider.messages[0]) == {
        *("account_sid", "api_version", "body", "date_created", "date_sent", "date_updated", "direction"),
        *("error_code", "error_message", "from", "messaging_service_sid", "num_media", "num_segments"),
        *("price", "price_unit", "sid", "status", "subresource_uris", "to", "uri"),
    }


def test_the_loopback_provider_refuses_a_field_it_does_not_know(provider: Provider) -> None:
    with pytest.raises(TwilioRestException) as caught:
        client_of(provider).messages.create(to=FAMILY, from_=OUR_NUMBER, body="b", smart_encoded=True)
    assert caught.value.code == 20001
    assert provider.messages == []


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({"from_": OUR_NUMBER, "body": "b", "to": "07700"}, 21211),
        ({"body": "b", "to": FAMILY}, 21603),
        ({"from_": OUR_NUMBER, "messaging_service_sid": SERVICE, "body": "b", "to": FAMILY}, 21603),
        ({"from_": OUR_NUMBER, "to": FAMILY}, 21602),
        ({"from_": OUR_NUMBER, "to": FAMILY, "body": "b" * 1601}, 21617),
        ({"from_": OUR_NUMBER, "to": FAMILY, "body": "b", "status_callback": "clinic"}, 21609),
        ({"from_": OUR_NUMBER, "to": FAMILY, "body": "b", "validity_period": 36_001}, 90007),
    ],
)
def test_the_loopback_provider_refuses_what_the_public_api_refuses(
    provider: Provider, form: dict[str, object], code: int
) -> None:
    with pytest.raises(TwilioRestException) as caught:
        client_of(provider).messages.create(**form)
    assert caught.value.code == code


def test_the_loopback_provider_knows_its_account(provider: Provider, settings_for: SettingsFor) -> None:
    with pytest.raises(NotSent, match="20003"):
        TwilioSms(settings_for(auth_token="another")).send(text(FAMILY))
    assert provider.messages == []


def test_the_loopback_provider_lists_by_person_and_day(provider: Provider, settings_for: SettingsFor) -> None:
    days = iter([datetime(2026, 3, 1, 23, 59, tzinfo=UTC), datetime(2026, 3, 2, 0, 1, tzinfo=UTC)] * 2)
    provider.clock = lambda: next(days)
    channel = TwilioSms(settings_for())
    for to in (FAMILY, FAMILY, OUR_NUMBER, OUR_NUMBER):
        channel.send(text(to))
    messages, second = client_of(provider).messages, date(2026, 3, 2)
    assert len(messages.list(page_size=1)) == 4
    assert len(messages.list(to=FAMILY)) == 2
    assert [m.date_sent.date() for m in messages.list(to=FAMILY, date_sent_after=second)] == [second]
    assert [m.date_sent.date() for m in messages.list(date_sent=second)] == [second, second]
    assert [m.to for m in messages.list(from_=OUR_NUMBER, date_sent_before=date(2026, 3, 1))] == [
        OUR_NUMBER,
        FAMILY,
    ]


def test_the_loopback_provider_fails_a_list_on_demand(provider: Provider) -> None:
    provider.fail_next(refusal(20003, 401), method="GET")
    with pytest.raises(TwilioException):
        client_of(provider).messages.list(to=FAMILY)
    assert client_of(provider).messages.list(to=FAMILY) == []
