"""The family said that it cannot come to a visit."""

from datetime import datetime

from bracewatch.messages.kinds import Meaning
from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Rule, Urgency, from_replies


def check(case: Case, now: datetime) -> Finding:
    """Raised by "cannot come" until somebody has spoken with the family (and found another day)."""
    replies = case.unsettled(Meaning.NOT_COMING)
    sentence = "The family wrote on {day} that they cannot come: another day is needed."
    return from_replies(case, RULE.code, Urgency.THIS_WEEK, replies, sentence)


RULE = Rule(
    code="cannot-come",
    title="Cannot come to the visit",
    source="Common practice, no source. PRACTICE",
    check=check,
)
