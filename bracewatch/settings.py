"""What a process needs to know from its environment: checked once, at its start.

A fault names the variable and what is allowed, never the value: values may be secrets.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError, field_validator
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from bracewatch.messages.twilio_sms import TwilioSettings
from bracewatch.services.timing import Timing

PREFIX = "BRACEWATCH_"


class SettingsError(ValueError):
    """Settings are missing or wrong; the message has a line for each variable."""


class Settings(BaseModel):
    """The settings of a process that sends. Field `twilio_account` is the variable BRACEWATCH_TWILIO_ACCOUNT.

    `database` is an SQLAlchemy URL. Exactly one of `twilio_number` and `twilio_service` is whom families see when
    their clinic has no sender of its own. `public_url` is where the network finds our hooks, None: no delivery
    reports. `parts_a_second` is what that number may send (None: no limit of ours).
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    database: str
    twilio_account: str
    twilio_token: SecretStr
    twilio_number: str | None = None
    twilio_service: str | None = None
    twilio_api: str = "https://api.twilio.com"
    public_url: str | None = None
    timeout_seconds: Annotated[float, Field(gt=0, le=60)] = 10
    lease_seconds: Annotated[float, Field(gt=0, le=3600)] = 300
    parts_a_second: Annotated[float, Field(gt=0, le=1000)] | None = None

    @field_validator("database")
    @classmethod
    def _is_database(cls, url: str) -> str:
        try:
            backend = make_url(url).get_backend_name()
        except ArgumentError:
            backend = ""
        if backend not in ("sqlite", "postgresql"):
            raise ValueError("must be a database address such as sqlite:///families.sqlite3 or postgresql+psycopg://…")
        return url

    @field_validator("public_url")
    @classmethod
    def _is_public(cls, url: str | None) -> str | None:
        if url is not None and (urlsplit(url).query or not urlsplit(url).hostname):
            raise ValueError("must be scheme and host, such as https://clinic.example")
        return url

    def twilio(self) -> TwilioSettings:
        """The channel's settings. Raises ValueError that names what is wrong, without the value."""
        return TwilioSettings(
            account_sid=self.twilio_account,
            auth_token=self.twilio_token.get_secret_value(),
            from_number=self.twilio_number,
            messaging_service_sid=self.twilio_service,
            status_callback_url=None if self.public_url is None else f"{self.public_url.rstrip('/')}{STATUS_PATH}",
            api_base=self.twilio_api,
            timeout=timedelta(seconds=self.timeout_seconds),
        )

    def timing(self) -> Timing:
        """The sender's waits. Raises ValueError for a lease that does not outlast two timeouts."""
        return Timing(
            timeout=timedelta(seconds=self.timeout_seconds),
            lease=timedelta(seconds=self.lease_seconds),
            parts_a_second=self.parts_a_second,
        )


STATUS_PATH = "/hooks/twilio/status"
# What the channel's own checks call a setting, and our variable for it.
_NAMES = {
    "account_sid": "twilio_account",
    "auth_token": "twilio_token",
    "from_number": "twilio_number",
    "messaging_service_sid": "twilio_service",
    "status_callback_url": "public_url",
    "api_base": "twilio_api",
}


def variable(field: str) -> str:
    """The environment variable of a field."""
    return PREFIX + field.upper()


def read(environment: Mapping[str, str]) -> Settings:
    """The settings in those variables; an empty one counts as not there. Raises SettingsError with every fault."""
    given: dict[str, Any] = {
        field: environment[variable(field)] for field in Settings.model_fields if environment.get(variable(field))
    }
    try:
        settings = Settings(**given)
    except ValidationError as error:
        raise SettingsError("\n".join(_fault(one) for one in error.errors(include_input=False))) from None
    for part in (settings.twilio, settings.timing):
        try:
            part()
        except ValueError as error:
            raise SettingsError(_in_our_names(str(error))) from None
    return settings


def _fault(error: Any) -> str:
    name = variable(str(error["loc"][0]))
    if error["type"] == "missing":
        return f"{name} is missing: set it"
    return f"{name}: {error['msg'].removeprefix('Value error, ')}"


def _in_our_names(text: str) -> str:
    for theirs, ours in _NAMES.items():
        text = text.replace(theirs, variable(ours))
    return text
