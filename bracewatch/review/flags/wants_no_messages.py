"""The family asked for messages to stop: staff must know, for they may still call."""

from datetime import datetime

from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, in_words

_WHY = {
    "asked": "The family stopped our messages",
    "mourning": "The family wrote of a death, and our messages were stopped",
    "wrong_person": "Our messages were stopped, for somebody else has this number, since",
}


def check(case: Case, now: datetime) -> Finding:
    """Raised from the family's word until somebody has spoken with them about how to stay in touch."""
    stopped, why = (case.caregiver.stopped_at, case.caregiver.stopped_why) if case.caregiver else (None, None)
    spoken = case.spoken_at
    if stopped is None or (spoken is not None and spoken >= stopped):
        return NOTHING
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.THIS_WEEK,
            sentence=f"{_WHY.get(why or '', _WHY['asked'])} on {in_words(case.clinic_day(stopped))}: "
            "nothing is sent, a call is the only way to reach them.",
            evidence=(),
            since=stopped,
        )
    )


RULE = Rule(
    code="wants-no-messages",
    title="No messages go out",
    source="47 CFR 64.1200(a)(10): a reasonable request to stop is honoured. READ",
    check=check,
)
