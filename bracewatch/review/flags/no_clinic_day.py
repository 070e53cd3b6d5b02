"""A visit without a day on which the clinic is open: none in its window, or closed on the one it has."""

from datetime import date, datetime, time, timedelta

from bracewatch.review.case import Case
from bracewatch.review.flag import Finding, Flag, Rule, Urgency, in_words
from bracewatch.schedule.local_time import instant
from bracewatch.schedule.timeline import Visit

TOLD_AHEAD = timedelta(days=60)


def check(case: Case, now: datetime) -> Finding:
    """Raised sixty days before the window opens, until somebody has chosen a day or cancelled the visit; and for a
    visit ahead whose day has become one on which the clinic is closed, until it is moved."""
    today = case.clinic_day(now)
    shut = [visit for visit in case.timeline.visits if visit.shut and visit.kept is None and _is_ahead(visit, today)]
    if shut:
        return _on_a_closed_day(case, shut, now)
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


def _is_ahead(visit: Visit, today: date) -> bool:
    return visit.on is not None and visit.on >= today


def _on_a_closed_day(case: Case, shut: list[Visit], now: datetime) -> Finding:
    visit = shut[0]
    assert visit.on is not None  # noqa: S101 - it is ahead
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.THIS_WEEK,
            sentence=f"The visit of {in_words(visit.on)} is on a day when the clinic sees nobody ({visit.shut}): "
            "another day has to be chosen.",
            evidence=tuple(f"{in_words(one.on)}: {one.shut}" for one in shut if one.on is not None),
            since=instant(max(visit.on - TOLD_AHEAD, case.enrolled_on), time(0), case.clinic_zone),
        ),
        instant(visit.on + timedelta(days=1), time(0), case.clinic_zone),
    )


RULE = Rule(
    code="no-clinic-day",
    title="No clinic day for a visit",
    source="Common practice, no source. PRACTICE",
    check=check,
)
