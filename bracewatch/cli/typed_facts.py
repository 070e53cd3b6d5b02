"""Facts as they are typed: KIND=DATE, as in kept:step-down=2026-12-01."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from datetime import date
from typing import Literal, NamedTuple

from bracewatch.cli.given import iso_date
from bracewatch.schedule.facts import UNPLANNED, Fact, FactKind
from bracewatch.schedule.timeline import NO_LONGER_PLANNED, Timeline

_SHAPE = re.compile(r"(?P<word>[^:=]+)(?::(?P<about>[^=]*))?=(?P<days>.*)", re.DOTALL)


class _Form(NamedTuple):
    """How one kind of fact is written."""

    kind: FactKind  # of `taken-back`: that of a decision; its end has a kind of its own
    about: Literal["must", "may", "never"]  # whether something stands behind a colon
    until: bool  # whether a second day follows
    example: str


FORMS = {
    "kept": _Form(FactKind.VISIT_KEPT, "may", False, "kept:step-down=2026-12-01, or kept=2026-12-01 when unplanned"),
    "booked": _Form(FactKind.VISIT_BOOKED, "must", False, "booked:step-down=2026-12-03"),
    "cancelled": _Form(FactKind.VISIT_CANCELLED, "must", False, "cancelled:step-down=2026-11-28"),
    "opened": _Form(FactKind.GATE_OPENED, "must", False, "opened:step-down=2026-12-01"),
    "held": _Form(FactKind.GATE_HELD, "must", True, "held:step-down=2026-12-01..2027-01-05"),
    "paused": _Form(FactKind.PAUSED, "may", False, "paused:skin=2026-10-01"),
    "resumed": _Form(FactKind.RESUMED, "never", False, "resumed=2026-10-09"),
    "lengthened": _Form(FactKind.LENGTHENED, "never", True, "lengthened=2030-05-01..2031-07-01"),
    "ended": _Form(FactKind.ENDED, "may", False, "ended:relapse=2028-05-05"),
    "taken-back": _Form(
        FactKind.GATE_TAKEN_BACK, "must", False, "taken-back:step-down=2026-12-02, or taken-back:ended=2028-05-06"
    ),
}
_THE_END = "ended"  # what is taken back when it is no decision
HELP = (
    "What happened, as often as needed: "
    + "; ".join(form.example for form in FORMS.values())
    + ". A decision may stand alone, as in step-down=2026-12-01."
)


def read_facts(texts: Iterable[str], gates: Collection[str] | None) -> tuple[list[Fact], list[str]]:
    """The facts in the order they were typed (a later one is the later word), and a sentence for each fault.

    `gates` are the decisions a protocol has; None when the protocol could not be read: any word may then be one.
    """
    facts, faults = [], []
    for number, text in enumerate(texts, 1):
        try:
            facts.append(_fact(number, text, gates))
        except ValueError as error:
            faults.append(f"--fact {text}: {error}")
    return facts, faults


def _fact(number: int, text: str, gates: Collection[str] | None) -> Fact:
    match = _SHAPE.fullmatch(text)
    if match is None:
        raise ValueError("write KIND=DATE, as in kept:step-down=2026-12-01")
    word, about = match["word"], match["about"]
    if word not in FORMS and about is None and (gates is None or word in gates):
        return Fact(number, FactKind.GATE_OPENED, iso_date(match["days"]), word)
    form = _form(word, about, gates)
    first, until = _days(match["days"], form)
    if form.kind is FactKind.GATE_TAKEN_BACK and about == _THE_END:
        return Fact(number, FactKind.END_TAKEN_BACK, first)
    return Fact(number, form.kind, first, UNPLANNED if about is None else about, until)


def _form(word: str, about: str | None, gates: Collection[str] | None) -> _Form:
    form = FORMS.get(word)
    if form is None:
        decisions = f", or a decision of this protocol ({', '.join(sorted(gates))})" if gates else ""
        raise ValueError(f"{word!r} is no kind of fact: use {', '.join(FORMS)}{decisions}")
    if form.about == "must" and not about:
        raise ValueError(f"say which one: write it as in {form.example}")
    if about == "":
        raise ValueError(f"something is missing between ':' and '=': write it as in {form.example}")
    if about is not None and form.about == "never":
        raise ValueError(f"{about!r} does not belong here: write it as in {form.example}")
    return form


def _days(text: str, form: _Form) -> tuple[date, date | None]:
    first, dots, until = text.partition("..")
    if bool(dots) != form.until:
        wanted = "two days, from and until" if form.until else "one day"
        raise ValueError(f"{wanted} wanted: write it as in {form.example}")
    return iso_date(first), iso_date(until) if dots else None


_OF_VISITS = (FactKind.VISIT_KEPT, FactKind.VISIT_BOOKED, FactKind.VISIT_CANCELLED)
_OF_GATES = (FactKind.GATE_OPENED, FactKind.GATE_HELD, FactKind.GATE_TAKEN_BACK)


def unknown_in(facts: Iterable[Fact], plans: Collection[Timeline]) -> list[str]:
    """The visits and decisions that facts are about and no plan has, one sentence each.

    `plans` are the child's timelines: without facts, with them, and moved. A visit that is in one only because a
    fact says that it was kept is none of the plan's.
    """
    planned = [visit for plan in plans for visit in plan.visits if visit.name != NO_LONGER_PLANNED]
    visits = dict.fromkeys(visit.key for visit in planned)
    gates = dict.fromkeys(phase.gate for plan in plans for phase in plan.phases if phase.gate)
    faults = []
    for fact in facts:
        if fact.kind in _OF_VISITS and fact.about not in visits and fact.about != UNPLANNED:
            faults.append(f"the plan has no visit {fact.about!r}; it has {', '.join(_folded(visits))}")
        elif fact.kind in _OF_GATES and fact.about not in gates:
            faults.append(f"the plan has no decision {fact.about!r}; it has {', '.join(gates) or 'none'}")
    return list(dict.fromkeys(faults))


def _folded(keys: Iterable[str]) -> list[str]:
    """The keys, the visits of one row as in "every-four-months-1 to 7"."""
    rows: dict[str, list[str]] = {}
    for key in keys:
        row, dash, number = key.rpartition("-")
        rows.setdefault(row if dash and number.isdigit() else key, []).append(key)
    return [found[0] if len(found) == 1 else f"{found[0]} to {found[-1].rpartition('-')[2]}" for found in rows.values()]
