"""Check-ins that nobody answered."""

from datetime import datetime, timedelta

from bracewatch.messages.kinds import Asked
from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, in_words

TIME_TO_ANSWER = timedelta(days=2)


def check(case: Case, now: datetime) -> Finding:
    """Raised when the latest check-ins, as many as the protocol says, went unanswered.

    Anything the family wrote, and any talk with them, is an answer: silence is what is flagged. A check-in
    counts as unanswered two days after it was sent.
    """
    if case.caregiver is None or not case.caregiver.may_be_written_to:
        return NOTHING
    last_sign = max((reply.at for reply in case.heard), default=None)
    spoken = case.spoken_at
    if spoken is not None and (last_sign is None or spoken > last_sign):
        last_sign = spoken
    open_since = sorted(
        question.sent_at
        for question in case.questions
        if question.asked in (Asked.HOURS, Asked.NIGHTS) and (last_sign is None or question.sent_at > last_sign)
    )
    silent = [sent_at for sent_at in open_since if sent_at + TIME_TO_ANSWER <= now]
    waiting = [sent_at + TIME_TO_ANSWER for sent_at in open_since if sent_at + TIME_TO_ANSWER > now]
    look_again = min(waiting, default=None)
    if len(silent) < case.protocol.thresholds.unanswered_check_ins:
        return Finding(None, look_again)
    last_heard = f"last heard on {in_words(case.clinic_day(last_sign))}" if last_sign else "never heard from"
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.THIS_WEEK,
            sentence=f"The last {len(silent)} check-ins were not answered; {last_heard}.",
            evidence=tuple(f"asked on {in_words(case.clinic_day(sent_at))}" for sent_at in silent[-5:]),
            since=silent[0],
        ),
        look_again,
    )


RULE = Rule(
    code="no-reply",
    title="No reply",
    source="Number of check-ins: clinic setting, no source. PRACTICE",
    check=check,
)
