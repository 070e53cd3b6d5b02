"""The brace is broken, too small, will not stay on, or the child will not settle in it."""

from datetime import datetime

from bracewatch.messages.kinds import Meaning
from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Rule, Urgency, from_replies
from bracewatch.review.flags.sore_skin import ABOUT_SKIN

_WORDS = {
    "broken": "something on the brace being broken",
    "fit": "the brace not fitting or slipping off",
    "small": "the boots being too small",
    "crying": "the child crying or not sleeping",
}


def check(case: Case, now: datetime) -> Finding:
    """Raised by a reply about the brace or crying until somebody has spoken with the family."""
    replies = [reply for reply in case.unsettled(Meaning.TROUBLE) if reply.about not in ABOUT_SKIN]
    what = _WORDS.get(replies[0].about or "", "trouble with the brace") if replies else ""
    sentence = f"The family wrote of {what} on {{day}}; nobody has spoken with them since."
    return from_replies(case, RULE.code, Urgency.TODAY, replies, sentence)


RULE = Rule(
    code="brace-trouble",
    title="Trouble with the brace",
    source="Hospital leaflets (composite): call the same or the next working day when the foot slips out, the heel "
    "will not seat, a strap or the bar is broken, or the boots are outgrown. READ; times are clinic settings.",
    check=check,
)
