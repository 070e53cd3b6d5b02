"""The managers' page: what families report, who comes, who cannot be reached, where the children are. No names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from flask import Blueprint, abort, render_template, request

from bracewatch.rates import charts
from bracewatch.rates.adherence import Adherence, Group
from bracewatch.rates.attendance import Attendance
from bracewatch.rates.charts import Bar, Svg
from bracewatch.rates.replies import Replies
from bracewatch.rates.wording import month_in_words, percent
from bracewatch.services import figures
from bracewatch.services.figures import Programme
from bracewatch.web import at_hand
from bracewatch.web.words import count

desk = Blueprint("programme", __name__)

FEW_CHILDREN = 5

UNSENT_WORDS = {
    "failed": "Refused by the phone network",
    "expired": "Not sent in time, then no longer useful",
    "in_doubt": "May or may not have been sent; being looked up",
    "unknown": "May or may not have been sent; could not be found out",
}


@dataclass(frozen=True, slots=True)
class Panel:
    """One group of phases: what its latest month says in words, its chart, and the months it is drawn from."""

    group: Group
    phases: tuple[str, ...]
    said: str
    chart: Svg
    rows: Mapping[date, Adherence]


@desk.get("/programme")
def page() -> str:
    """The figures of every clinic, or of the one named by `?clinic=key`; 404 for a clinic there is not."""
    try:
        programme = figures.programme(at_hand.store(), at_hand.now(), request.args.get("clinic"))
    except figures.NoSuchClinic:
        abort(404)
    visits = {row.month: row for row in programme.visits}
    replies = {row.month: row for row in programme.replies}
    return render_template(
        "programme/page.html",
        programme=programme,
        panels=[_panel(programme, group) for group in Group if _rows(programme, group)],
        visits=visits,
        visits_chart=charts.attendance(
            "visits-drawn",
            "Visits kept, by month",
            f"{_span(programme.months)} {_visits_said(programme.months, visits)}",
            programme.months,
            visits,
        ),
        visits_said=_visits_said(programme.months, visits),
        replies=replies,
        replies_said=_replies_said(programme, replies),
        phases_chart=_phases_chart(programme),
        percent=percent,
        month_name=lambda month: _month_name(programme.months, month),
        unsent_words=UNSENT_WORDS,
    )


def _rows(programme: Programme, group: Group) -> dict[date, Adherence]:
    return {row.month: row for row in programme.adherence if row.group is group}


def _panel(programme: Programme, group: Group) -> Panel:
    rows = _rows(programme, group)
    return Panel(
        group=group,
        phases=tuple(sorted({phase for row in rows.values() for phase in row.phases})),
        said=_said(programme.months, group, rows),
        chart=charts.adherence(
            group.value.replace("_", "-"),
            f"Reported wear by month: {group.words}",
            f"{_span(programme.months)} {_said(programme.months, group, rows)}",
            programme.months,
            rows,
        ),
        rows=rows,
    )


def _said(months: Sequence[date], group: Group, rows: Mapping[date, Adherence]) -> str:
    """The last month that is over, in words; the present one while there is no other."""
    month = _month_told(months, rows)
    row = rows.get(month)
    when = _month_name(months, month)
    if row is None:
        return f"{when}: no check-in stands for a day in this phase, so nothing can be said about wear."
    if row.known_mean is None:
        return (
            f"{when}: wear is not known in any of {count(row.periods, 'check-in period')} "
            f"({_children(row.children)}). That is no sign that the brace was not worn."
        )
    what = "the nights" if group is Group.NIGHTS else "the prescribed hours"
    unknown = "All check-in periods are known." if row.periods > 1 else "The one check-in period is known."
    if row.unknown:
        unknown = (
            f"Not known: {percent(row.unknown_share)} of {row.periods} check-in periods; whatever was worn in those, "
            f"the mean over all {row.periods} lies between {percent(row.lowest)} and {percent(row.highest)}."
        )
    few = ""
    if row.children < FEW_CHILDREN:
        those = "These are" if row.children > 1 else "This is"
        few = f" {those} {_children(row.children)}: one family can move the figure by much."
    return f"{when}: families reported {percent(row.known_mean)} of {what}. {unknown}{few}"


def _visits_said(months: Sequence[date], rows: Mapping[date, Attendance]) -> str:
    month = _month_told(months, rows)
    row = rows.get(month)
    if row is None:
        return f"{_month_name(months, month)}: no visit was due."
    still_open = f"; for {row.still_open} the window is still open" if row.still_open else ""
    return (
        f"{_month_name(months, month)}: {row.kept} of {count(row.due, 'visit')} that were due were kept, "
        f"{row.on_time} of them in time{still_open}."
    )


def _replies_said(programme: Programme, rows: Mapping[date, Replies]) -> str:
    month = _month_told(programme.months, rows)
    when, row = _month_name(programme.months, month), rows.get(month)
    if row is None:
        return f"{when}: no check-in was sent, so nothing can be said about replies."
    in_brace = programme.in_brace[month]
    asked = f"{when}: the families of {_children(row.children)} were asked; {_children(in_brace)} had a brace to wear."
    if row.answered_share is None:
        return f"{asked} None of them has had its two days to be answered."
    of_them = f"{percent(row.answered_share)} ({row.answered} of {row.answerable})"
    return f"{asked} Answered within two days: {of_them}."


def _month_told(months: Sequence[date], rows: Mapping[date, object]) -> date:
    """The month a sentence is about: the last that is over if it has a row, else the present one."""
    return months[-2] if len(months) > 1 and months[-2] in rows else months[-1]


def _children(number: int) -> str:
    return "1 child" if number == 1 else f"{number} children"


def _month_name(months: Sequence[date], month: date) -> str:
    """The month in words; the last one is not over yet."""
    return f"{month_in_words(month)}{' so far' if month == months[-1] else ''}"


def _span(months: Sequence[date]) -> str:
    first, last = month_in_words(months[0]), month_in_words(months[-1])
    return f"{first}." if first == last else f"From {first} to {last}. The table below has every figure."


def _phases_chart(programme: Programme) -> Svg:
    rows = [Bar(row.name, row.children, _children(row.children)) for row in programme.phases_now]
    about = "; ".join(f"{row.label}: {row.words}" for row in rows) + "."
    return charts.bars("phases", "Children in each phase today", about, rows)
