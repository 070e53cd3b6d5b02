"""How many children's timelines are made in a second, beside the same work with dateutil, holidays and zoneinfo.

    python bench/timelines.py [--children 10000] [--peer-children 1000] [--rounds 5] [--seed 1]

bench/README.md says what is measured and what came out.
"""

from __future__ import annotations

import argparse
import gc
import random
import statistics
import sys
import time as clock
import warnings
from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

import with_rrule

from bracewatch.schedule import clinic_days, contact_days, local_time, protocol
from bracewatch.schedule.clinic_days import ClinicCalendar
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline, build

TODAY = date(2026, 12, 1)
ROUTINE = ("nights-to-four", "graded-step-down", "sleep-to-five")
# Country, region and zones of invented clinics; a few families live in another zone than their clinic.
PLACES = (
    ("KE", None, "Africa/Nairobi"),
    ("EG", None, "Africa/Cairo"),
    ("LB", None, "Asia/Beirut"),
    ("IN", "MH", "Asia/Kolkata"),
    ("IN", "TN", "Asia/Kolkata"),
    ("NP", None, "Asia/Kathmandu"),
    ("BR", "SP", "America/Sao_Paulo"),
    ("BR", "AM", "America/Manaus"),
    ("MX", None, "America/Mexico_City"),
    ("ZA", None, "Africa/Johannesburg"),
    ("GB", "SCT", "Europe/London"),
    ("AU", "NSW", "Australia/Lord_Howe"),
)
CLINICS = 36


class Child(NamedTuple):
    course: Course
    protocol: Protocol
    clinic: ClinicCalendar
    at: time  # the caregiver's contact hour
    zone: str


Made = tuple[Timeline, list[datetime], list[datetime]]  # the timeline, when asked, when reminded


def ours(child: Child) -> Made:
    """With bracewatch.schedule."""
    made = build(child.protocol, child.course, child.clinic)
    contact = child.protocol.contact
    moments = local_time.instants(child.at, child.zone)
    asked: list[datetime] = []
    for days in contact_days.check_in_rounds(made, contact):
        asked += moments.on(days)
    reminded = moments.on(contact_days.reminder_days(made, contact))
    return made, asked, reminded


def theirs(child: Child) -> Made:
    """With dateutil.rrule, holidays and zoneinfo."""
    made = with_rrule.timeline(child.protocol, child.course, child.clinic)
    return made, *with_rrule.instants(made, child.protocol, child.at, child.zone)


def children(count: int, seed: int) -> list[Child]:
    """Invented children, the same for the same seed: six in ten with facts, some of them paused or moved."""
    chance = random.Random(seed)
    clinics = [clinic(chance, PLACES[number % len(PLACES)]) for number in range(CLINICS)]
    return [child(chance, *chance.choice(clinics)) for _ in range(count)]


def clinic(chance: random.Random, place: tuple[str, str | None, str]) -> tuple[ClinicCalendar, str]:
    country, region, zone = place
    weekdays = frozenset(chance.sample(range(6), chance.randint(1, 3)))
    closed = {date(year, 1, 1) + timedelta(days=chance.randrange(365)): "stocktaking" for year in range(2022, 2043)}
    return ClinicCalendar(weekdays, closed, country=country, region=region), zone


def child(chance: random.Random, calendar: ClinicCalendar, zone: str) -> Child:
    rules = protocol.shipped(chance.choice(ROUTINE))
    born = TODAY - timedelta(days=chance.randrange(1400))
    late = chance.random() < 0.1  # corrected late: up to three years old
    brace_start = born + timedelta(days=chance.randrange(150, 1095) if late else chance.randrange(40, 150))
    if chance.random() < 0.05:
        zone = chance.choice(PLACES)[2]
    plain = Course(born, brace_start)
    facts = tuple(history(chance, build(rules, plain, calendar), plain)) if chance.random() < 0.6 else ()
    hour = time(chance.randrange(8, 21))
    return Child(Course(born, brace_start, facts), rules, calendar, hour, zone)


def history(chance: random.Random, planned: Timeline, course: Course) -> list[Fact]:
    """What may have happened up to today: visits kept, moved and cancelled, the step-down, a pause."""
    facts: list[tuple[FactKind, date, str]] = []
    for visit in planned.visits:
        if visit.on is None or visit.on > TODAY:
            break
        what = chance.random()
        if what < 0.8:
            facts.append((FactKind.VISIT_KEPT, visit.on, visit.key))
            if visit.decides:
                facts.append((FactKind.GATE_OPENED, visit.on, visit.decides))
        elif what < 0.95:
            facts.append((FactKind.VISIT_BOOKED, visit.on + timedelta(days=chance.randrange(1, 30)), visit.key))
        else:
            facts.append((FactKind.VISIT_CANCELLED, visit.on, visit.key))
    if chance.random() < 0.1:
        start = course.brace_start + timedelta(days=chance.randrange(1, 80))
        facts += [(FactKind.PAUSED, start, "skin"), (FactKind.RESUMED, start + timedelta(days=6), "")]
    return [Fact(number, kind, on, about) for number, (kind, on, about) in enumerate(facts)]


def per_second(make: Callable[[Child], Made], some: Sequence[Child]) -> float:
    """Children in a second of processor time: what runs beside it on the machine does not count."""
    begun = clock.process_time()
    for one in some:
        make(one)
    return len(some) / (clock.process_time() - begun)


def agree(some: Sequence[Child]) -> None:
    """Ends the program when the two do not make the same of a child."""
    for one in some:
        if ours(one) != theirs(one):
            sys.exit(f"the two do not agree on {one}")


def sizes(some: Sequence[Child]) -> str:
    made = [ours(one) for one in some]
    phases = statistics.mean(len(timeline.phases) for timeline, _, _ in made)
    visits = statistics.mean(len(timeline.visits) for timeline, _, _ in made)
    moments = statistics.mean(len(asked) + len(reminded) for _, asked, reminded in made)
    facts = statistics.mean(len(one.course.facts) for one in some)
    return f"a child has on average {phases:.1f} phases, {visits:.1f} visits, {moments:.0f} instants, {facts:.1f} facts"


def measure(everybody: Sequence[Child], few: Sequence[Child], rounds: int) -> None:
    """Rounds of the one and of the other in turn, so that what slows the machine slows both."""
    first = per_second(ours, everybody)
    print(f"a first round, while tables of holidays, open days and instants fill: {first:,.0f} children/s")
    print("round   bracewatch   with rrule   ratio")
    figures = []
    for number in range(1, rounds + 1):
        figures.append((per_second(ours, everybody), per_second(theirs, few)))
        own, peer = figures[-1]
        print(f"{number:5}   {own:10,.0f}   {peer:10,.0f}   {own / peer:5.1f}")
    own, peer = (statistics.median(side) for side in zip(*figures, strict=True))
    ratio = statistics.median(one / other for one, other in figures)
    print(f"median  {own:10,.0f}   {peer:10,.0f}   {ratio:5.1f}   children/s")


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    wanted.add_argument("--children", type=int, default=10_000, help="made by bracewatch in each round")
    wanted.add_argument("--peer-children", type=int, default=1_000, help="made with rrule: the first of the same")
    wanted.add_argument("--rounds", type=int, default=7)
    wanted.add_argument("--seed", type=int, default=1)
    args = wanted.parse_args()
    warnings.simplefilter("ignore")  # holidays says that it has no data for years far ahead
    everybody = children(args.children, args.seed)
    few = everybody[: args.peer_children]
    print(f"{len(everybody):,} children, {len(few):,} of them with rrule too; seed {args.seed}")
    agree(few[:500])
    print(f"the same timelines and instants for the first {len(few[:500])}; {sizes(few)}")
    local_time.instants.cache_clear()
    clinic_days.public_holidays.cache_clear()
    everybody = children(args.children, args.seed)  # whose clinics' calendars know nothing yet
    few = everybody[: args.peer_children]
    gc.collect()
    gc.freeze()  # the children are not what is measured
    measure(everybody, few, args.rounds)


if __name__ == "__main__":
    main()
