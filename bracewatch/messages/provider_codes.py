"""What the provider's error codes mean for the sender.

Source of the codes: Twilio's public error reference, www.twilio.com/docs/api/errors/<code>, looked up for
this project in 2026. The same codes come in answers to a send and in delivery reports.
The meaning beside each code is ours, in short; the class is our decision.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from bracewatch.messages.adapter import Outcome

_PERMANENT: Final = (
    21211,  # not a valid number
    21612,  # this sender cannot reach this number
    21614,  # not a mobile number
    21635,  # a landline
    30004,  # blocked for this number
    30005,  # number unknown or no longer in use
    30006,  # landline, or a carrier that cannot be reached
    30007,  # held back as unwanted by a filter
    63003,  # the address is not in use on this channel
    63024,  # not a valid recipient on this channel
)
_OPTED_OUT: Final = (
    21610,  # the person answered STOP
    63014,  # the person blocked the sender
)
_TRANSIENT: Final = (
    20429,  # too many requests at once: never processed, safe to repeat
    21611,  # the sender's queue already holds ten hours of messages
    21702,  # the messaging service takes no new messages just now
    21730,  # the provider is under maintenance
    30001,  # the queue overflowed
    30003,  # phone off or out of reach
    30008,  # unknown error at the carrier
    30017,  # the carrier is congested
    30022,  # the carrier's rate limit was passed
)
_ACCOUNT: Final = (
    10001,  # account not active
    20003,  # account and secret do not match
    20404,  # account or address not found
    21212,  # our sender is not valid
    21408,  # our account may not send to this country
    21602,  # no body
    21603,  # no sender
    21604,  # no recipient, or not sent as a form
    21605,  # the body is too long
    21606,  # our number cannot send there
    21608,  # a trial account may write to checked numbers only
    21609,  # the delivery report's address is not valid
    21617,  # the body is over 1,600 characters
    21659,  # our sender is not a number of the provider
    21660,  # our sender belongs to another account
    21661,  # our number cannot send texts
    21701,  # the messaging service does not exist
    21703,  # the messaging service has no sender free
    21704,  # the messaging service has no sender at all
    21705,  # the messaging service's id is not valid
    30002,  # account suspended
    30018,  # our sender must be registered with the carrier first
    30034,  # our number is not registered for this kind of message
    63007,  # no channel has this sender
    63016,  # outside the 24-hour window: needs an approved template
)

OUTCOMES: Final[Mapping[int, Outcome]] = MappingProxyType(
    {
        **dict.fromkeys(_PERMANENT, Outcome.PERMANENT),
        **dict.fromkeys(_OPTED_OUT, Outcome.OPTED_OUT),
        **dict.fromkeys(_TRANSIENT, Outcome.TRANSIENT),
        **dict.fromkeys(_ACCOUNT, Outcome.ACCOUNT),
    }
)
"""Every code we know."""


def is_about_the_number(code: int | None) -> bool:
    """Whether a code says that nothing gets through to the number, and not only that one message did not."""
    return code in _PERMANENT


# Answers of a web server, a proxy or the provider's gate that carry no code of their own. None of them
# looked at the number or the text, so they say something about us.
_WITHOUT_CODE: Final = MappingProxyType(
    {
        401: Outcome.ACCOUNT,
        403: Outcome.ACCOUNT,
        404: Outcome.ACCOUNT,
        405: Outcome.ACCOUNT,
        407: Outcome.ACCOUNT,
        408: Outcome.IN_DOUBT,  # a timeout, seen from the other end
        429: Outcome.TRANSIENT,
    }
)


def outcome_of(code: int | None, http_status: int | None) -> Outcome:
    """The outcome for a refused or failed message, from the provider's code and the HTTP status.

    Give `http_status` None for a delivery report, `code` None when the answer held none.
    A server error, or an answer that is neither a refusal nor a redirect, is IN_DOUBT whatever its code
    (the provider's page on 20500 warns that repeating may send twice). Then the code decides; without
    one the status does, and a redirect is ACCOUNT: we have the wrong address. 429 is never processed, and
    401 never reaches the message, so they count beside an unknown code too. Anything else unknown is
    PERMANENT for this message, the safe default: nobody gets a text twice, and staff see the code.
    """
    if http_status is not None and not 300 <= http_status < 500:
        return Outcome.IN_DOUBT
    if code is not None and code in OUTCOMES:
        return OUTCOMES[code]
    if http_status is None or (code is not None and http_status not in (401, 429)):
        return Outcome.PERMANENT
    if http_status < 400:
        return Outcome.ACCOUNT
    return _WITHOUT_CODE.get(http_status, Outcome.PERMANENT)
