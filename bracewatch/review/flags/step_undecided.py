"""A step down that waits for the clinic: its day has come and gone, and nobody has written down a decision."""

from datetime import datetime, time, timedelta

from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, in_words
from bracewatch.review.flags import missed_visit
from bracewatch.schedule.local_time import instant
from bracewatch.schedule.timeline import PAUSE


def check(case: Case, now: datetime) -> Finding:
    """Raised when full time goes on only because nobody has decided: after the day of the decision's visit, and after
    the last day of a hold. While that visit counts as missed, the missed visit is the flag."""
    today = case.clinic_day(now)
    phase = case.timeline.in_force(today)
    if phase is None or phase.key == PAUSE or phase.gate is None or phase.gate_open:
        return NOTHING
    tomorrow = today + timedelta(days=1)
    if phase.end > tomorrow:  # the planned day, or the end of a hold
        return Finding(None, instant(phase.end, time(0), case.clinic_zone))
    deciding = [visit for visit in case.timeline.visits if visit.decides == phase.gate]
    waits_from = max((visit.kept or visit.on or visit.closes for visit in deciding), default=phase.start)
    if waits_from >= today:
        return Finding(None, instant(waits_from + timedelta(days=1), time(0), case.clinic_zone))
    next_look = instant(tomorrow, time(0), case.clinic_zone)
    missed = missed_visit.check(case, now)
    if missed.flag is not None:
        return Finding(None, next_look)
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.THIS_WEEK,
            sentence=f"{phase.name} goes on because nobody has written down whether to step down.",
            evidence=(f"the visit that decides it: {in_words(waits_from)}",),
            since=instant(waits_from + timedelta(days=1), time(0), case.clinic_zone),
        ),
        next_look,
    )


RULE = Rule(
    code="step-undecided",
    title="Step down not decided",
    source="The step is the clinic's decision at a visit: Staheli L (ed.), clubfoot management manual, 3rd ed. 2009. "
    "MEMORY. That staff are told the day after: common practice, no source. PRACTICE",
    check=check,
)
