"""Sore skin, or toes that look wrong."""

from datetime import datetime

from bracewatch.messages.kinds import Meaning
from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Rule, Urgency, from_replies

ABOUT_SKIN = ("skin", "toes", "pain")


def check(case: Case, now: datetime) -> Finding:
    """Raised by a reply about skin, toes or pain until somebody has spoken with the family."""
    replies = [reply for reply in case.unsettled(Meaning.TROUBLE) if reply.about in ABOUT_SKIN]
    toes = [reply for reply in replies if reply.about == "toes"]
    replies = toes + [reply for reply in replies if reply not in toes]  # the sentence speaks of the first
    what = "toes that are cold, blue or swollen" if toes else "sore skin or pain"
    sentence = f"The family wrote of {what} on {{day}}; nobody has spoken with them since."
    return from_replies(case, RULE.code, Urgency.NOW if toes else Urgency.TODAY, replies, sentence)


RULE = Rule(
    code="sore-skin",
    title="Sore skin",
    source="Hospital leaflets (composite): call the same or the next working day for broken skin, marks that stay, "
    "swollen, cold or blue toes. READ; times are clinic settings.",
    check=check,
)
