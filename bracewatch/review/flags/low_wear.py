"""Reported wear is well under what is prescribed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time

from bracewatch.review.case import Case
from bracewatch.review.flag import NOTHING, Finding, Flag, Rule, Urgency, in_words
from bracewatch.schedule.local_time import instant
from bracewatch.schedule.protocol import Thresholds
from bracewatch.schedule.timeline import Phase
from bracewatch.wear.reports import WearReport, last_word


@dataclass(frozen=True, slots=True)
class Weighed:
    """A report beside what was prescribed on its day."""

    report: WearReport
    phase: Phase
    share: float


def weigh(case: Case, now: datetime) -> list[Weighed]:
    """The reports recent enough to speak of now, one a day, oldest first."""
    oldest = case.protocol.thresholds.low_wear_forgets.before(case.clinic_day(now))
    weighed = []
    for report in last_word(case.reports):
        phase = case.timeline.in_force(report.day)
        if phase is not None and phase.asks == report.kind.value and oldest <= report.day:
            weighed.append(Weighed(report, phase, report.share(phase.hours_low)))
    return weighed


def low_run(weighed: Iterable[Weighed], limits: Thresholds) -> list[Weighed]:
    """The reports from the one that gave the alarm up to the latest; empty when there is no alarm standing.

    The alarm is given by one report under `low_wear_at_once_share`, or by the mean of the latest
    `low_wear_reports` under `low_wear_share`; it stands until `low_wear_clears_after` reports in a row are
    at or above `low_wear_share`.
    """
    run: list[Weighed] = []
    recent: list[float] = []
    good = 0
    for item in weighed:
        recent = [*recent, item.share][-limits.low_wear_reports :]
        good = good + 1 if item.share >= limits.low_wear_share else 0
        if run:
            run = [] if good >= limits.low_wear_clears_after else [*run, item]
            if not run:
                recent = []
            continue
        mean_is_low = len(recent) == limits.low_wear_reports and sum(recent) / len(recent) < limits.low_wear_share
        if item.share < limits.low_wear_at_once_share or mean_is_low:
            run = [item]
    return run


def check(case: Case, now: datetime) -> Finding:
    """Raised while the latest reports are low; forgotten with the last report that is too old to speak of now."""
    weighed = weigh(case, now)
    run = low_run(weighed, case.protocol.thresholds)
    if not run:
        return NOTHING
    last = run[-1]
    full_time = last.phase.asks == "hours"
    return Finding(
        Flag(
            code=RULE.code,
            urgency=Urgency.TODAY if full_time else Urgency.THIS_WEEK,
            sentence=f"Reported wear is low: {last.report.in_words()} for {in_words(last.report.day)}, "
            f"{_prescribed(last)} prescribed.",
            evidence=tuple(
                f"{item.report.in_words()} for {in_words(item.report.day)} ({round(item.share * 100)} % of prescribed)"
                for item in weighed[-6:]
            ),
            since=run[0].report.heard_at,
        ),
        _forgotten_at(case, weighed),
    )


def _prescribed(item: Weighed) -> str:
    low, high = item.phase.hours_low, item.phase.hours_high
    if item.phase.asks == "nights":
        return "every night"
    return f"{low:g} h" if low == high else f"{low:g} to {high:g} h"


def _forgotten_at(case: Case, weighed: list[Weighed]) -> datetime:
    """When the oldest report drops out of view: the alarm may rest on it."""
    day = case.protocol.thresholds.low_wear_forgets.after(weighed[0].report.day)
    return instant(day.fromordinal(day.toordinal() + 1), time(0), case.clinic_zone)


RULE = Rule(
    code="low-wear",
    title="Low wear",
    source="No published cut-off. For scale: measured wear in courses that succeeded was 19.8 of 23 hours prescribed "
    "in the first three months (Richards BS et al. J Am Acad Orthop Surg 2020, READ); reports run above sensors "
    "(Morgenstein A et al. J Pediatr Orthop 2015;35(2):185-191, READ). The shares are clinic settings (PRACTICE).",
    check=check,
)
