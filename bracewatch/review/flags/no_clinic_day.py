"""A visit whose window holds no day on which the clinic is open."""

from datetime import datetime, time, timedelta

from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Flag, Rule, Urgency, in_words
from bracewatch.schedule.local_time import instant

TOLD_AHEAD = timedelta(days=60)


def check(case: Case, now: datetime) -> Finding:
    """Raised sixty days before the window opens, until somebody has chosen a day or cancelled the visit."""
    today = case.clinic_day(now)
    without = [
        visit
        for visit in case.timeline.visits
        if visit.on is None and visit.kept is None and not visit.cancelled and visit.closes >= case.enrolled_on
    ]
    near = [visit for visit in without if visit.opens - TOLD_AHEAD <= today]
    later = min((visit.opens for visit in without if visit.opens - TOLD_AHEAD > today), default=None)
    look_again = instant(later - TOLD_AHEAD, time(0), case.clinic_zone) if later else None
    if not near:
        return Finding(None, look_again)
    visit = near[0]
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.THIS_WEEK,
            sentence=f"The clinic is closed on every day from {in_words(visit.opens)} to {in_words(visit.closes)}: "
            f"a day for the visit due {in_words(visit.due)} has to be chosen by hand.",
            evidence=tuple(f"due {in_words(one.due)}: {one.why}" for one in near),
            since=instant(max(visit.opens - TOLD_AHEAD, case.enrolled_on), time(0), case.clinic_zone),
        ),
        look_again,
    )


RULE = Rule(
    code="no-clinic-day",
    title="No clinic day for a visit",
    source="Common practice, no source. PRACTICE",
    check=check,
)
