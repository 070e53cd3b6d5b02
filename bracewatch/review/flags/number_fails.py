"""Nothing gets through to a number that we write to."""

from datetime import datetime

from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, in_words


def check(case: Case, now: datetime) -> Finding:
    """Raised by the network's word that a number fails, until there is another number or something gets through.

    Less urgent while somebody else who agreed is written to instead.
    """
    person = case.caregiver
    if person is None or not person.may_be_written_to:
        return NOTHING
    failing = [one for one in (person, *case.passed_over) if one.number_failed_at is not None]
    if not failing:
        return NOTHING
    first = min(failing, key=lambda one: one.number_failed_at or now)
    since = first.number_failed_at or now
    if person.number_failed_at is not None:
        urgency, what = Urgency.TODAY, "nobody else who agreed can be written to: the family gets none of our messages."
    else:
        urgency, what = Urgency.THIS_WEEK, "another caregiver who agreed is written to instead."
    return Finding(
        Flag(
            code=RULE.code,
            urgency=urgency,
            sentence=f"Messages have not got through to a caregiver's number since {in_words(case.clinic_day(since))}, "
            f"and {what} Ask the family for a new number.",
            evidence=tuple(f"the network reports code {one.number_failed_code}" for one in failing),
            since=since,
        )
    )


RULE = Rule(
    code="number-fails",
    title="Number does not work",
    source="Which codes mean that a number fails: Twilio's public error reference. READ; urgency is common practice, "
    "no source. PRACTICE",
    check=check,
)
