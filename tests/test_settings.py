"""Settings from the environment: every fault names its variable, none shows a value."""

import pytest

from bracewatch import settings

GOOD = {
    "BRACEWATCH_DATABASE": "sqlite:///families.sqlite3",
    "BRACEWATCH_TWILIO_ACCOUNT": "AC" + "1f" * 16,
    "BRACEWATCH_TWILIO_TOKEN": "canary-secret",
    "BRACEWATCH_TWILIO_NUMBER": "+447700900999",
}


def test_good_settings_are_read_and_other_variables_are_not_looked_at() -> None:
    given = settings.read({**GOOD, "HOME": "/", "BRACEWATCH_PUBLIC_URL": "https://clinic.example/"})
    assert given.twilio().status_callback_url == "https://clinic.example/hooks/twilio/status"
    assert given.twilio().timeout == given.timing().timeout


def test_the_secret_is_not_shown_when_printed() -> None:
    assert "canary-secret" not in repr(settings.read(GOOD))


def test_everything_that_is_missing_is_named_at_once() -> None:
    with pytest.raises(settings.SettingsError) as caught:
        settings.read({})
    for name in ("DATABASE", "TWILIO_ACCOUNT", "TWILIO_TOKEN"):
        assert f"BRACEWATCH_{name} is missing" in str(caught.value)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("DATABASE", "mysql://canary-host/x", "database address"),
        ("DATABASE", "canary", "database address"),
        ("TWILIO_ACCOUNT", "canary", "32 hexadecimal"),
        ("TWILIO_TOKEN", "canary secret", "without spaces"),
        ("TWILIO_NUMBER", "canary", "country code"),
        ("TWILIO_SERVICE", "MG" + "1f" * 16, "exactly one"),
        ("TWILIO_API", "http://canary.example", "https://"),
        ("PUBLIC_URL", "http://canary.example", "https://"),
        ("PUBLIC_URL", "canary", "https://"),
        ("TIMEOUT_SECONDS", "canary", "number"),
        ("TIMEOUT_SECONDS", "0", "greater than 0"),
        ("LEASE_SECONDS", "20", "two timeouts"),
        ("PARTS_A_SECOND", "-1", "greater than 0"),
    ],
)
def test_a_wrong_setting_is_refused_by_its_name_and_without_its_value(name: str, value: str, says: str) -> None:
    with pytest.raises(settings.SettingsError, match=says) as caught:
        settings.read({**GOOD, f"BRACEWATCH_{name}": value})
    assert "canary" not in str(caught.value)
    if name != "LEASE_SECONDS":
        assert f"BRACEWATCH_{name}" in str(caught.value)


def test_plain_http_is_for_this_machine_alone() -> None:
    assert settings.read({**GOOD, "BRACEWATCH_TWILIO_API": "http://127.0.0.1:8000"}).twilio_api
