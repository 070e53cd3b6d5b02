"""What the tests of the adapters share: a loopback provider and settings that point to it."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from provider import DEAD, OUR_NUMBER, STOPPED, Provider

from bracewatch.messages.twilio_sms import TwilioSettings


@pytest.fixture
def provider() -> Iterator[Provider]:
    running = Provider(dead_numbers=frozenset({DEAD}), opted_out=frozenset({STOPPED})).start()
    yield running
    running.stop()
    assert running.contract_faults == []


@pytest.fixture
def settings_for(provider: Provider) -> Callable[..., TwilioSettings]:
    """Settings that point to the loopback provider; keyword arguments change them."""

    def build(**changes: object) -> TwilioSettings:
        chosen: dict[str, object] = {
            "account_sid": provider.account_sid,
            "auth_token": provider.auth_token,
            "from_number": OUR_NUMBER,
            "api_base": provider.base,
            "timeout": timedelta(seconds=5),
            **changes,
        }
        return TwilioSettings(**chosen)  # type: ignore[arg-type]

    return build
