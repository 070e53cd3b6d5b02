"""The same timelines as straightforward code with `dateutil`, `holidays` and `zoneinfo` makes them.

This is the peer that bench/timelines.py measures against. It is written from the protocol's wording, shares no
arithmetic with `bracewatch.schedule`, and keeps what its libraries let it keep: one holidays object a country and
region, which remembers its years, and zones from zoneinfo's own cache. It knows the facts that the benchmark uses:
gates opened, visits kept, booked and cancelled, pauses.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import holidays
from dateutil.relativedelta import relativedelta
from dateutil.rrule import DAILY, MONTHLY, WEEKLY, rrule

from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, FactKind
from bracewatch.schedule.protocol import PhaseRule, Protocol, Variant, VisitRule
from bracewatch.schedule.spans import Span
from bracewatch.schedule.timeline import PAUSE, Phase, Timeline, Visit

DAY = timedelta(days=1)


def timeline(protocol: Protocol, course: Course, clinic: ClinicCalendar) -> Timeline:
    """The timeline of a course, equal to `bracewatch.schedule.timeline.build`."""
    variant = next(variant for variant in protocol.variant if _covers(variant, course))
    phases = _with_pauses(_phases(variant, course), course)
    ends_on = phases[-1].end
    due_days = _due(variant, course, ends_on)
    visits = _with_facts([_visit(key, rule, due, course, clinic) for key, rule, due in due_days], course, clinic)
    return Timeline(protocol.id, protocol.version, variant.key, tuple(phases), tuple(visits), ends_on)


def instants(made: Timeline, protocol: Protocol, at: time, zone: str) -> tuple[list[datetime], list[datetime]]:
    """When the family is asked, and when it is reminded of a visit, in UTC."""
    here = ZoneInfo(zone)
    asked: set[datetime] = set()
    first, held = made.phases[0], None
    for phase in made.phases:
        if phase.key == PAUSE:
            continue
        counted = held or phase
        begins = datetime.combine(counted.start, at, here)
        start, end = datetime.combine(phase.start, at, here), datetime.combine(phase.end, at, here)
        turns = rrule(DAILY, interval=counted.check_in_days, dtstart=begins, until=end - DAY)
        asked.update(turn for turn in turns if turn >= start and turn != begins)
        second_day = begins + timedelta(days=protocol.contact.first_check_in.days)
        if counted is first and start <= second_day < end:
            asked.add(second_day)
        if held is None and not phase.gate_open:
            held = phase
    ahead = [_delta(span) for span in protocol.contact.visit_reminders]
    reminded = {
        datetime.combine(visit.on - span, at, here)
        for visit in made.visits
        if visit.on is not None and visit.due <= made.ends_on
        for span in ahead
    }
    return [moment.astimezone(UTC) for moment in sorted(asked)], [moment.astimezone(UTC) for moment in sorted(reminded)]


def _delta(span: Span) -> relativedelta:
    return relativedelta(months=span.months, days=span.days)


def _covers(variant: Variant, course: Course) -> bool:
    age = course.brace_start
    since, before = variant.corrected_from, variant.corrected_before
    return (
        course.foot in variant.feet
        and (since is None or course.born + _delta(since) <= age)
        and (before is None or age < course.born + _delta(before))
    )


def _phases(variant: Variant, course: Course) -> Iterator[Phase]:
    opened = {fact.about: fact.on for fact in course.facts if fact.kind is FactKind.GATE_OPENED}
    start = anchor = course.brace_start
    counted = relativedelta()
    for rule in variant.phase:
        if rule.gate in opened:
            end = anchor = opened[rule.gate]
            counted = relativedelta()
        elif rule.until_age is not None:
            end = course.born + _delta(rule.until_age)
        else:
            assert rule.lasts is not None
            counted += _delta(rule.lasts)
            end = anchor + counted
        if end > start:
            yield _phase(rule, start, end, rule.gate is None or rule.gate in opened)
            start = end


def _phase(rule: PhaseRule, start: date, end: date, gate_open: bool) -> Phase:
    return Phase(rule.key, rule.name, start, end, *rule.hours, rule.gate, gate_open, rule.asks, rule.check_in.days)


def _with_pauses(phases: Iterator[Phase], course: Course) -> list[Phase]:
    laid = list(phases)
    paused = sorted(fact.on for fact in course.facts if fact.kind is FactKind.PAUSED)
    resumed = sorted(fact.on for fact in course.facts if fact.kind is FactKind.RESUMED)
    for start, end in zip(paused, resumed, strict=True):
        pause = Phase(PAUSE, "Brace paused", start, min(end, laid[-1].end), 0, 0, None, True, "nothing", 0)
        before = [phase._replace(end=min(phase.end, start)) for phase in laid if phase.start < start]
        after = [phase._replace(start=max(phase.start, pause.end)) for phase in laid if phase.end > pause.end]
        laid = [*before, pause, *after] if start < laid[-1].end else laid
    return laid


def _due(variant: Variant, course: Course, ends_on: date) -> Iterator[tuple[str, VisitRule, date]]:
    counted = relativedelta()
    for place, rule in enumerate(variant.visit):
        if rule.after is not None:
            counted = _delta(rule.after)
            yield rule.key, rule, course.brace_start + counted
        elif rule.every is None:
            due = _fixed(rule, course, ends_on)
            if due > course.brace_start:
                yield rule.key, rule, due
        else:
            anchor, since = (ends_on, relativedelta()) if rule.from_end else (course.brace_start, counted)
            stop = _stop(rule, course, ends_on, variant.visit[place + 1 :])
            for number, due in enumerate(_row(anchor, since, rule.every, stop), 1):
                if due > course.brace_start:
                    yield f"{rule.key}-{number}", rule, due
                if not rule.from_end:
                    counted += _delta(rule.every)


def _fixed(rule: VisitRule, course: Course, ends_on: date) -> date:
    if rule.at_end:
        return ends_on
    if rule.after is not None:
        return course.brace_start + _delta(rule.after)
    assert rule.at_age is not None
    return course.born + _delta(rule.at_age)


def _row(anchor: date, since: relativedelta, every: Span, stop: date) -> Iterator[date]:
    """Every so many months from the anchor, where a month is too short its last day; then the days on top."""
    extra = timedelta(days=since.days)
    months = relativedelta(years=since.years, months=since.months + every.months)
    first, last = datetime.combine(anchor + months, time()), datetime.combine(stop - extra, time())
    day = anchor.day
    which = {"bymonthday": day} if day <= 28 else {"bymonthday": range(28, day + 1), "bysetpos": -1}
    moments = rrule(MONTHLY, interval=every.months, dtstart=first, until=last, **which)
    return (moment.date() + extra for moment in moments)


def _stop(rule: VisitRule, course: Course, ends_on: date, later: tuple[VisitRule, ...]) -> date:
    assert rule.every is not None
    days = [ends_on if rule.until_age is None else course.born + _delta(rule.until_age)]
    for fixed in later:
        if fixed.every is None:
            half = timedelta(days=round(rule.every.about_days / 2))
            days.append(_fixed(fixed, course, ends_on) - half)
    return min(days)


def _visit(key: str, rule: VisitRule, due: date, course: Course, clinic: ClinicCalendar) -> Visit:
    opens, closes = max(due - _delta(rule.opens), course.brace_start), due + _delta(rule.closes)
    on = _nearest_open(clinic, due, opens, closes)
    why = "" if on == due else _why_closed(clinic, due)
    return Visit(key, rule.name, due, opens, closes, on, None, rule.decides, False, False, why)


def _nearest_open(clinic: ClinicCalendar, due: date, opens: date, closes: date) -> date | None:
    """Looks a week round the due day first: what is found there is the nearest."""
    week = timedelta(days=7)
    for first, last in ((max(opens, due - week), min(closes, due + week)), (opens, closes)):
        start, until = datetime.combine(first, time()), datetime.combine(last, time())
        week_days = rrule(WEEKLY, byweekday=sorted(clinic.weekdays), dtstart=start, until=until)
        days = sorted((moment.date() for moment in week_days), key=lambda day: (abs(day - due), due - day))
        found = next((day for day in days if not _why_closed(clinic, day)), None)
        if found is not None:
            return found
    return None


def _why_closed(clinic: ClinicCalendar, day: date) -> str:
    if day.weekday() not in clinic.weekdays:
        return f"{day:%A} is no clinic day"
    return _why_off(clinic, day)


def _why_off(clinic: ClinicCalendar, day: date) -> str:
    if day in clinic.closed:
        return f"closed: {clinic.closed[day]}"
    name = _holidays(clinic.country, clinic.region).get(day)
    return f"public holiday: {name}" if name else ""


@cache
def _holidays(country: str, region: str | None) -> holidays.HolidayBase:
    in_english = "en_US" if "en_US" in holidays.list_localized_countries().get(country, []) else None
    return holidays.country_holidays(country, subdiv=region, language=in_english)


def _with_facts(visits: list[Visit], course: Course, clinic: ClinicCalendar) -> list[Visit]:
    facts = sorted(course.facts, key=lambda fact: fact.number)
    kept = {fact.about: fact.on for fact in facts if fact.kind is FactKind.VISIT_KEPT}
    plans = {fact.about: fact for fact in facts if fact.kind in (FactKind.VISIT_BOOKED, FactKind.VISIT_CANCELLED)}
    return [_changed(visit, kept.get(visit.key), plans.get(visit.key), clinic) for visit in visits]


def _changed(visit: Visit, kept: date | None, plan: object, clinic: ClinicCalendar) -> Visit:
    if plan is not None and plan.kind is FactKind.VISIT_CANCELLED:
        return visit._replace(on=None, cancelled=True, why="cancelled", kept=kept)
    if plan is not None:
        outside = "" if visit.opens <= plan.on <= visit.closes else ", outside its window"
        why = visit.why if plan.on == visit.on else f"the clinic chose this day{outside}"
        return visit._replace(on=plan.on, booked=True, why=why, kept=kept, shut=_why_off(clinic, plan.on))
    return visit._replace(kept=kept)
