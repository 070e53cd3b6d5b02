"""What every way to a phone must do alike, and what may be handed to it.

The suite runs over each adapter; the real one talks to a provider on this machine's loopback.
"""

import subprocess
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from provider import DEAD, FAMILY, STOPPED, Provider

from bracewatch.messages.adapter import Channel, NotSent, Outcome, Outgoing
from bracewatch.messages.practice import PracticePhone
from bracewatch.messages.twilio_sms import TwilioSettings, TwilioSms, TwilioWhatsApp

AN_HOUR = timedelta(hours=1)
ANOTHER = "+447700900444"
BODY_CANARY = "How many hours did the canary sing yesterday?"


@dataclass(frozen=True)
class Network:
    """An adapter under test, and what the far end must never see repeated in an error."""

    channel: Channel
    secret: str
    bodies: Callable[[], list[object]] | None  # what the network kept, None when it keeps nothing


@pytest.fixture(params=["practice", "twilio", "whatsapp"])
def network(request: pytest.FixtureRequest, provider: Provider, settings_for: Callable[..., TwilioSettings]) -> Network:
    if request.param == "practice":
        phone = PracticePhone(dead_numbers=frozenset({DEAD}), opted_out=frozenset({STOPPED}))
        return Network(phone, "no secret here", None)
    channel = {"twilio": TwilioSms, "whatsapp": TwilioWhatsApp}[request.param](settings_for())
    for number in (FAMILY, ANOTHER, DEAD, STOPPED) if request.param == "whatsapp" else ():
        provider.receive(f"whatsapp:{number}", "hello")

    def bodies() -> list[object]:
        return [kept["body"] for kept in provider.messages if kept["direction"] != "inbound"]

    return Network(channel, provider.auth_token, bodies)


def text(to: str = FAMILY, body: str = BODY_CANARY, reference: str = "check-in/17/3") -> Outgoing:
    return Outgoing(to=to, body=body, reference=reference, useful_for=AN_HOUR, heard_from_at=datetime.now(UTC))


def test_a_channel_has_a_name(network: Network) -> None:
    assert network.channel.name.isalpha()


def test_an_accepted_message_has_a_sid(network: Network) -> None:
    accepted = network.channel.send(text())
    assert accepted.sid
    assert accepted.parts is None or accepted.parts >= 1


def test_different_references_have_different_sids(network: Network) -> None:
    first = network.channel.send(text(reference="visit-1"))
    second = network.channel.send(text(reference="visit-2"))
    assert first.sid != second.sid


def test_a_number_that_does_not_exist_is_permanent(network: Network) -> None:
    with pytest.raises(NotSent) as caught:
        network.channel.send(text(to=DEAD))
    assert caught.value.outcome is Outcome.PERMANENT
    assert caught.value.code


def test_a_number_that_asked_to_stop_is_opted_out(network: Network) -> None:
    with pytest.raises(NotSent) as caught:
        network.channel.send(text(to=STOPPED))
    assert caught.value.outcome is Outcome.OPTED_OUT


def test_what_was_accepted_is_listed_with_number_body_and_moment(network: Network) -> None:
    began = datetime.now(UTC).replace(microsecond=0)  # the list tells seconds
    sids = {network.channel.send(text(to, reference=f"for-{to[-3:]}")).sid: to for to in (FAMILY, ANOTHER)}
    listed = network.channel.listing(began, None)
    assert {(one.sid, one.to, one.body) for one in listed} == {(sid, to, BODY_CANARY) for sid, to in sids.items()}
    assert all(began <= one.created_at <= datetime.now(UTC) for one in listed)
    assert [one.to for one in network.channel.listing(began, ANOTHER)] == [ANOTHER]


def test_what_was_refused_or_made_before_is_not_listed(network: Network) -> None:
    network.channel.send(text())
    with pytest.raises(NotSent):
        network.channel.send(text(to=DEAD))
    assert network.channel.listing(datetime.now(UTC) + AN_HOUR, None) == []
    assert network.channel.listing(datetime.now(UTC) - AN_HOUR, DEAD) == []


def test_what_we_sent_is_not_heard(network: Network) -> None:
    network.channel.send(text())
    assert "hello" not in [one.body for one in network.channel.listing(datetime.now(UTC) - AN_HOUR, None)]
    assert BODY_CANARY not in [one.body for one in network.channel.heard(datetime.now(UTC) - AN_HOUR)]


def test_what_a_list_shows_when_printed_holds_no_number_and_no_body(network: Network) -> None:
    network.channel.send(text())
    began = datetime.now(UTC) - AN_HOUR
    shown = repr([*network.channel.listing(began, None), *network.channel.heard(began)])
    assert FAMILY not in shown
    assert BODY_CANARY not in shown


def test_a_refusal_does_not_stop_the_next_message(network: Network) -> None:
    with pytest.raises(NotSent):
        network.channel.send(text(to=DEAD))
    assert network.channel.send(text()).sid


@pytest.mark.parametrize(
    "body",
    [
        "كم ساعة ارتدى طفلك الدعامة أمس؟ أجب برقم.",  # right to left
        "\u200fكم ساعة؟ 23\u200e (1/2)",  # direction marks are part of the text
        "कल ब्रेस कितने घंटे पहना? 👶🏽👣",  # joined letters, a skin tone, surrogate pairs
        "a+b=c & d%20e; f?g#h\n€{}[]~|^\\ \"quoted\" 'so'",  # all that a form or a query might mangle
        "é e\u0301 ﬁ",  # nothing is normalised on the way
    ],
)
def test_a_body_in_any_script_passes_unharmed(network: Network, body: str) -> None:
    assert network.channel.send(text(body=body)).sid
    if network.bodies is not None:
        assert network.bodies() == [body]


@given(body=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40).filter(str.strip))
def test_any_body_that_may_be_handed_over_is_accepted_by_the_practice_phone(body: str) -> None:
    assert PracticePhone().send(text(body=body)).sid == "practice-check-in/17/3"


@pytest.mark.parametrize("number", [DEAD, STOPPED])
def test_an_error_holds_no_number_body_or_secret(network: Network, number: str) -> None:
    with pytest.raises(NotSent) as caught:
        network.channel.send(text(to=number))
    error = caught.value
    assert error.__cause__ is None
    assert error.__context__ is None  # the errors underneath do name the number
    told = "".join([str(error), repr(error), error.code, *traceback.format_exception(error)])
    for canary in (number, number.lstrip("+"), BODY_CANARY, network.secret):
        assert canary not in told


def test_an_error_says_what_to_do_for_every_outcome() -> None:
    told = {str(NotSent(outcome, "17", "it failed")) for outcome in Outcome}
    assert len(told) == len(Outcome)
    assert all(line.startswith("it failed (17). ") for line in told)


def test_one_reference_sent_twice_is_one_practice_message() -> None:
    phone = PracticePhone()
    assert phone.send(text()) == phone.send(text())


def test_a_practice_phone_without_dead_numbers_accepts_them_all() -> None:
    assert PracticePhone().send(text(to=DEAD)).sid == "practice-check-in/17/3"


def test_the_messages_room_does_not_load_the_twilio_package() -> None:
    rooms = "bracewatch.messages, bracewatch.messages.adapter, bracewatch.messages.practice"
    script = f"import sys, {rooms}, bracewatch.messages.provider_codes; sys.exit('twilio' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0


# What may be handed over at all.


@pytest.mark.parametrize("number", ["+6834000", "+447700900111", "+123456789012345"])
def test_a_number_in_international_form_is_taken(number: str) -> None:
    # ITU-T E.164, section 6.2: at most 15 digits, country code first (MEMORY); +683 with four digits is
    # among the shortest in use (MEMORY).
    assert text(to=number).to == number


@pytest.mark.parametrize(
    "number",
    [
        "",
        "447700900111",
        "00447700900111",
        "+0447700900111",
        "+44 7700 900111",
        "+44770090011x",
        "+44",
        "+1234567890123456",
        "+447700900111\n",
        "+٤٤٧٧٠٠٩٠٠١١١",
        "whatsapp:+447700900111",
    ],
)
def test_a_number_in_any_other_form_is_refused_without_naming_it(number: str) -> None:
    with pytest.raises(ValueError, match="international form") as caught:
        text(to=number)
    assert not number or number not in str(caught.value)


@pytest.mark.parametrize("length", [1, 1600])
def test_a_body_up_to_the_limit_is_taken(length: int) -> None:
    # 1,600 characters: Twilio's public error reference, 21617 (READ-2).
    assert len(text(body="a" * length).body) == length


@pytest.mark.parametrize(
    ("body", "says"),
    [("", "empty"), (" \n", "empty"), ("a" * 1601, "1601 characters"), ("cut \ud83d", "half a character")],
)
def test_a_body_that_cannot_be_sent_is_refused_without_naming_it(body: str, says: str) -> None:
    with pytest.raises(ValueError, match=says) as caught:
        text(body=body)
    assert not body.strip() or body not in str(caught.value)


@pytest.mark.parametrize("reference", ["", " ", "a\nb", " a", "a" * 101])
def test_a_reference_that_would_not_survive_an_address_is_refused(reference: str) -> None:
    with pytest.raises(ValueError, match="reference"):
        text(reference=reference)


@pytest.mark.parametrize("useful_for", [timedelta(0), timedelta(seconds=-1)])
def test_a_message_past_its_use_is_refused(useful_for: timedelta) -> None:
    with pytest.raises(ValueError, match="useful_for"):
        Outgoing(to=FAMILY, body="hello", reference="r", useful_for=useful_for)


def test_a_message_shows_neither_number_nor_body_when_printed() -> None:
    shown = repr(text())
    assert "check-in/17/3" in shown
    assert FAMILY not in shown
    assert BODY_CANARY not in shown
