"""The port to the phone network: what we hand over, what comes back, and how sending can fail.

Every network sits behind `Channel`. The error it raises says what may be done next, because the costly
mistakes are opposite ones: sending a family the same text twice, and never sending it at all.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final, Protocol

BODY_LIMIT: Final = 1600
"""Longest body in characters (Twilio's public error reference, 21617)."""

REFERENCE_LIMIT: Final = 100
"""Longest reference in characters, so that it always fits a delivery report's address."""

REFERENCE_FIELD: Final = "reference"
"""The query field of a delivery report's address under which our reference comes back."""

# ITU-T E.164 (11/2010), section 6.2: "+", a country code that never starts with 0, at most 15 digits in all.
# It names no least length; the shortest numbers in use have seven digits.
_E164: Final = re.compile(r"\+[1-9][0-9]{6,14}")


class Outcome(StrEnum):
    """Why a message was not sent, as the answer to "what may the sender do now?"."""

    PERMANENT = "permanent"
    """This number, or this message, never gets through."""
    OPTED_OUT = "opted_out"
    """The person asked for no more messages."""
    TRANSIENT = "transient"
    """Surely not sent; the same message may be tried later."""
    ACCOUNT = "account"
    """Our account, our settings or our own mistake: stop the sender and burn no attempts."""
    IN_DOUBT = "in_doubt"
    """May have been sent: never send it again without looking first."""


_WHAT_TO_DO: Final = {
    Outcome.PERMANENT: "Do not send it again; ask the family for another number or call them.",
    Outcome.OPTED_OUT: "Send nothing more to this number until the person asks to start again.",
    Outcome.TRANSIENT: "It was not sent; try again later.",
    Outcome.ACCOUNT: "Stop sending and correct our account or settings; the message can wait.",
    Outcome.IN_DOUBT: "It may have been sent; look for it at the network before sending it again.",
}


def is_e164(number: str) -> bool:
    """True when `number` has the form of an international number: "+" and 7 to 15 digits, the first not 0.

    The form alone: it does not say that the number is in use.
    """
    return _E164.fullmatch(number) is not None


@dataclass(frozen=True, slots=True)
class Template:
    """A wording that the network has approved: its name there, and what fills its gaps, by their names."""

    sid: str
    gaps: Mapping[str, str] = field(default_factory=dict, repr=False)


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One text message to hand to a network.

    `to` is an E.164 number; `body` has 1 to 1,600 characters; `reference` is our own name for the message
    (1 to 100 printable characters, no phone number in it: it travels in addresses) and comes back with the
    delivery reports; `useful_for` is how long from now delivery still makes sense, more than zero.
    `not_after` is the aware moment after which nothing may be written to the network any more, because
    somebody else may have taken the message over; None: any time. `sender` is whom the network shows, in the
    network's own form; None: the channel's own. Some networks take free text only for a while after the person
    wrote: `heard_from_at` is when they last did over this channel, `template` says the same in approved wording.
    Numbers and body stay out of `repr`. Raises ValueError, without the offending value, for anything else.
    """

    to: str = field(repr=False)
    body: str = field(repr=False)
    reference: str
    useful_for: timedelta
    not_after: datetime | None = None
    sender: str | None = field(default=None, repr=False)
    heard_from_at: datetime | None = None
    template: Template | None = None

    def __post_init__(self) -> None:
        if not is_e164(self.to):
            raise ValueError(
                "the number is not in international form: write + and the country code, then digits only, 15 at most"
            )
        _check_body(self.body)
        if not 1 <= len(self.reference) <= REFERENCE_LIMIT or not _is_plain(self.reference):
            raise ValueError(f"the reference must have 1 to {REFERENCE_LIMIT} printable characters")
        if self.useful_for <= timedelta(0):
            raise ValueError(f"useful_for must be more than zero, not {self.useful_for}: do not send it late")
        for name in ("not_after", "heard_from_at"):
            moment = getattr(self, name)
            if moment is not None and moment.tzinfo is None:
                raise ValueError(f"{name} needs its zone: give an aware datetime")


def _check_body(body: str) -> None:
    if not body.strip():
        raise ValueError("the body is empty: give the text to send")
    if len(body) > BODY_LIMIT:
        raise ValueError(f"the body has {len(body)} characters; shorten it to {BODY_LIMIT}")
    # Half of a surrogate pair: it can be neither sent nor counted, and points to a text cut in the middle.
    if any("\ud800" <= letter <= "\udfff" for letter in body):
        raise ValueError("the body holds half a character: it was cut or decoded wrongly before it came here")


def _is_plain(text: str) -> bool:
    return text.isprintable() and text == text.strip()


@dataclass(frozen=True, slots=True)
class Accepted:
    """The network took the message. `sid` is the network's name for it, never empty; `parts` is how many
    chained parts it is billed as, None when the network does not say yet."""

    sid: str
    parts: int | None


TOO_LATE: Final = "too-late"
"""The code of a NotSent for a message whose `not_after` had passed: nothing was written, nothing is wrong."""


class NotSent(Exception):
    """The message was not accepted, or nobody knows whether it was.

    `outcome` says what may be done next; `code` is the network's error code in digits, or our own word
    such as "timeout". `about_number`: it is the number that nothing gets through to, not this one message.
    The text says what failed and what to do. It holds no number, body or secret, and it is raised without
    a cause, since the causes hold them.
    """

    def __init__(self, outcome: Outcome, code: str, failed: str, *, about_number: bool = False) -> None:
        super().__init__(outcome, code, failed)
        self.outcome = outcome
        self.code = code
        self.failed = failed
        self.about_number = about_number

    def __str__(self) -> str:
        return f"{self.failed} ({self.code}). {_WHAT_TO_DO[self.outcome]}"


@dataclass(frozen=True, slots=True)
class Listed:
    """A message of ours as the network lists it. `created_at` is aware, by the network's clock and to the second
    only; `status` is the network's own word. Number and body stay out of `repr`."""

    sid: str
    to: str = field(repr=False)
    body: str = field(repr=False)
    created_at: datetime
    status: str


@dataclass(frozen=True, slots=True)
class Incoming:
    """A message that came in, as the network lists it: the E.164 number it came from, and when (aware)."""

    sid: str
    phone: str = field(repr=False)
    body: str = field(repr=False)
    received_at: datetime


class NotListed(Exception):
    """The network's list could not be read, or not to its end: nothing may be concluded from it.

    `code` as in NotSent. Raised without a cause, and without number, body or secret.
    """

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code

    def __str__(self) -> str:
        return f"the network's list of messages could not be read ({self.code}). Try again later."


class Channel(Protocol):
    """A way to reach a phone. One message at a time, no retry inside: the outbox decides about that."""

    @property
    def name(self) -> str:
        """A short stable word that names the channel in our records."""

    def send(self, message: Outgoing) -> Accepted:
        """Hand over one message; returns once the network has accepted it. Raises NotSent."""

    def listing(self, since: datetime, to: str | None) -> list[Listed]:
        """All messages that we sent and the network created at or after `since`, to that number or (None) to any,
        in any order. Raises NotListed rather than leave one out."""

    def heard(self, since: datetime) -> list[Incoming]:
        """All messages that came in at or after `since`, the oldest first. Raises NotListed."""
