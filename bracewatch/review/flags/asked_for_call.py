"""The family asked to be called."""

from datetime import datetime

from bracewatch.messages.kinds import Meaning
from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Rule, Urgency, from_replies


def check(case: Case, now: datetime) -> Finding:
    """Raised by a reply that asks for a call or for help until somebody has spoken with the family."""
    replies = case.unsettled(Meaning.CALL_ME, Meaning.HELP)
    return from_replies(case, RULE.code, Urgency.TODAY, replies, "The family asked for a call on {day}.")


RULE = Rule(
    code="asked-for-call",
    title="Asked for a call",
    source="Common practice, no source. PRACTICE",
    check=check,
)
