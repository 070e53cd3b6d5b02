"""A reply that the program could not read, or that only a person can act on."""

from datetime import datetime

from bracewatch.messages.kinds import Meaning, Next
from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Rule, Urgency, from_replies

ONLY_A_PERSON = (Meaning.WRONG_PERSON, Meaning.MOVED)
WITH_A_FLAG_OF_THEIR_OWN = (Meaning.TROUBLE, Meaning.CALL_ME, Meaning.HELP, Meaning.NOT_COMING, Meaning.STOP)


def check(case: Case, now: datetime) -> Finding:
    """Raised while a reply waits for a person to read it."""
    replies = [
        reply
        for reply in case.unsettled(*(meaning for meaning in Meaning if meaning not in WITH_A_FLAG_OF_THEIR_OWN))
        if reply.meaning in ONLY_A_PERSON or reply.next is Next.TO_STAFF
    ]
    many = f"{len(replies)} replies wait" if len(replies) > 1 else "A reply waits"
    return from_replies(case, RULE.code, Urgency.TODAY, replies, many + " for a person to read, since {day}.")


RULE = Rule(
    code="unread-reply",
    title="Reply nobody could read",
    source="Common practice, no source. PRACTICE",
    check=check,
)
