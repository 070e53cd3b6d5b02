"""A planned visit was not kept."""

from datetime import datetime, time

from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, days_ago, in_words
from bracewatch.schedule.local_time import instant
from bracewatch.schedule.timeline import Visit


def missable(case: Case) -> list[Visit]:
    """Visits that can be missed: planned since enrolment, not kept, and not overtaken by a later kept one."""
    last_kept = max((visit.due for visit in case.timeline.visits if visit.kept is not None), default=None)
    return [
        visit
        for visit in case.timeline.visits
        if visit.kept is None
        and not visit.cancelled
        and (visit.on or visit.closes) >= case.enrolled_on
        and (last_kept is None or visit.due > last_kept)
    ]


def check(case: Case, now: datetime) -> Finding:
    """Raised from the morning after the grace, until the visit is kept, moved to a day ahead, or overtaken."""
    grace = case.protocol.thresholds.missed_visit_grace
    missed, look_again = None, None
    for visit in missable(case):
        day = visit.on or visit.closes
        late_from = instant(grace.after(day), time(0), case.clinic_zone)
        if late_from > now:  # a visit that was moved may be behind one that is due later
            look_again = min(filter(None, (look_again, late_from)))
        else:
            missed = visit, day, late_from
    if missed is None:
        return Finding(None, look_again) if look_again else NOTHING
    visit, day, late_from = missed
    phase = case.timeline.in_force(day)
    pressing = visit.decides is not None or (phase is not None and phase.asks == "hours")
    days = (case.clinic_day(now) - day).days
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.TODAY if pressing else Urgency.THIS_WEEK,
            sentence=f"The visit of {in_words(day)} ({_short(visit)}) was not kept, {days_ago(days)}.",
            evidence=(f"due {in_words(visit.due)}, counts from {in_words(visit.opens)} to {in_words(visit.closes)}",),
            since=late_from,
        ),
        min(filter(None, (look_again, _next_midnight(case, now)))),
    )


def _short(visit: Visit) -> str:
    return visit.name[0].lower() + visit.name[1:]


def _next_midnight(case: Case, now: datetime) -> datetime:
    """The sentence counts days: it is renewed each morning."""
    today = case.clinic_day(now)
    return instant(today.fromordinal(today.toordinal() + 1), time(0), case.clinic_zone)


RULE = Rule(
    code="missed-visit",
    title="Missed a visit",
    source="Grace: clinic setting, no source (PRACTICE). The published dropout rules, 56 and 180 days, are longer: "
    "Chi BH et al. Am J Epidemiol 2010;171:924-931, doi:10.1093/aje/kwq008; PLoS Med 2011;8(10):e1001111. READ",
    check=check,
)
