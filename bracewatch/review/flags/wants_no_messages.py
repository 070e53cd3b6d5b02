"""The family asked for messages to stop: staff must know, for they may still call."""

from datetime import datetime

from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, in_words


def check(case: Case, now: datetime) -> Finding:
    """Raised from the family's word until somebody has spoken with them about how to stay in touch."""
    stopped = case.caregiver.stopped_at if case.caregiver else None
    spoken = case.spoken_at
    if stopped is None or (spoken is not None and spoken >= stopped):
        return NOTHING
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.THIS_WEEK,
            sentence=f"The family stopped our messages on {in_words(case.clinic_day(stopped))}: "
            "nothing is sent, a call is the only way to reach them.",
            evidence=(),
            since=stopped,
        )
    )


RULE = Rule(
    code="wants-no-messages",
    title="Wants no messages",
    source="47 CFR 64.1200(a)(10): a reasonable request to stop is honoured. READ",
    check=check,
)
