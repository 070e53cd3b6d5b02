"""A protocol in words, for people."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from bracewatch.schedule.protocol import PhaseRule, Protocol, Settings, Variant, VisitRule
from bracewatch.schedule.spans import Span

WIDTH = 80


def one_line(rules: Protocol, *, shipped: bool) -> str:
    """Identifier, version and name; what is research, and what is the clinic's own, says so."""
    marks = [str(rules.status)] if rules.status != "routine" else []
    marks += [] if shipped else ["the clinic's own"]
    return f"{rules.id:<18} version {rules.version}  {rules.name}" + (f"  [{', '.join(marks)}]" if marks else "")


def in_full(rules: Protocol) -> str:
    """Everything a protocol states, with the keys of its sources beside each figure."""
    parts = [_head(rules), *(_variant(variant) for variant in rules.variant), _contact(rules), _thresholds(rules)]
    parts += [_settings(rules.settings)] if rules.settings else []
    parts.append(_sources(rules))
    return "\n\n".join("\n".join(part) for part in parts)


def _head(rules: Protocol) -> Iterator[str]:
    yield f"{rules.name} ({rules.id}, version {rules.version})"
    yield f"Status: {rules.status}. Three months here means {rules.three_months}."
    yield textwrap.fill(" ".join(rules.about.split()), WIDTH)


def span_words(span: Span) -> str:
    """As in "3 months", "1 year 2 months 14 days"."""
    years, months = divmod(span.months, 12)
    parts = ((years, "year"), (months, "month"), (span.days, "day"))
    return " ".join(f"{count} {unit}{'' if count == 1 else 's'}" for count, unit in parts if count)


def _variant(variant: Variant) -> Iterator[str]:
    feet = f"; {', '.join(variant.feet)} feet" if len(variant.feet) < 3 else ""
    yield from _hanging(0, f"Children {variant.name}")
    yield f"  Age at correction: {_ages(variant)}{feet}"
    yield "  Phases"
    for phase in variant.phase:
        yield from _hanging(4, _phase(phase))
    yield "  Visits"
    for visit in variant.visit:
        yield from _hanging(4, _visit(visit))


def _ages(variant: Variant) -> str:
    ages = [f"from {span_words(variant.corrected_from)}"] if variant.corrected_from else []
    ages += [f"under {span_words(variant.corrected_before)}"] if variant.corrected_before else []
    return ", ".join(ages) or "any"


def _phase(phase: PhaseRule) -> str:
    low, high = phase.hours
    hours = f"{low:g} hours" if low == high else f"{low:g} to {high:g} hours"
    end = f"for {span_words(phase.lasts)}" if phase.lasts else ""
    end = f"until {span_words(phase.until_age)} of age" if phase.until_age else end
    gate = f"; goes on until the clinic decides ({phase.gate})" if phase.gate else ""
    asks = f"asked about {phase.asks} every {span_words(phase.check_in)}"
    return f"{phase.name} ({phase.key}): {hours} a day {end}{gate}; {asks} {_keys(phase.source)}"


def _visit(visit: VisitRule) -> str:
    window = f"counts from {span_words(visit.opens)} before to {span_words(visit.closes)} after"
    decides = f"; decides {visit.decides}" if visit.decides else ""
    return f"{visit.name} ({visit.key}): {_moment(visit)}; {window}{decides} {_keys(visit.source)}"


def _moment(visit: VisitRule) -> str:
    if visit.after is not None:
        return f"{span_words(visit.after)} after the brace start"
    if visit.at_age is not None:
        return f"at {span_words(visit.at_age)} of age"
    if visit.at_end:
        return "at the end of bracing"
    words = f"every {span_words(visit.every)}" if visit.every else ""
    words += f" from {span_words(visit.from_age)} of age" if visit.from_age else ""
    words += " from the end of bracing" if visit.from_end else ""
    words += f" until {span_words(visit.until_age)} of age" if visit.until_age else ""
    words += f" until {span_words(visit.until)} after the brace start" if visit.until else ""
    return words + (" until the end of bracing" if visit.until_end else "")


def _contact(rules: Protocol) -> Iterator[str]:
    contact = rules.contact
    days = " and ".join(span_words(span) for span in contact.visit_reminders)
    yield f"When families hear from the clinic {_keys(contact.source)}"
    yield f"  First question: {span_words(contact.first_check_in)} after the brace start"
    yield f"  Reminders: {days} before a visit"
    yield f"  While reported wear is low: a question every {span_words(contact.closer_check_in)}"


def _thresholds(rules: Protocol) -> Iterator[str]:
    limits = rules.thresholds
    yield f"When staff are told {_keys(limits.source)}"
    yield f"  Missed visit: {span_words(limits.missed_visit_grace)} after its day"
    yield (
        f"  Low wear: mean of the latest {limits.low_wear_reports} reports under {limits.low_wear_share:.0%} of the "
        f"hours,\n    or one report under {limits.low_wear_at_once_share:.0%}"
    )
    yield f"  Wear is well again: {limits.low_wear_clears_after} good reports in a row"
    yield f"  Reports count for {span_words(limits.low_wear_forgets)}"
    yield f"  No answer: after {limits.unanswered_check_ins} questions in a row"


def _settings(settings: Iterable[Settings]) -> Iterator[str]:
    yield "Brace settings, in degrees"
    for one in settings:
        ranges = (
            ("affected foot turned out", one.rotation_affected),
            ("unaffected", one.rotation_unaffected),
            ("bend of the bar", one.bend),
        )
        words = ", ".join(f"{name} {low:g} to {high:g}" for name, (low, high) in ranges)
        yield from _hanging(2, f"{one.foot}: {words}{f'; {one.note}' if one.note else ''} {_keys(one.source)}")


def _sources(rules: Protocol) -> Iterator[str]:
    yield "Sources"
    for source in rules.source:
        yield from _hanging(2, f"[{source.label}] {source.key}: {source.cite}")


def _keys(keys: Iterable[str]) -> str:
    return f"[{', '.join(keys)}]"


def _hanging(indent: int, words: str) -> list[str]:
    return textwrap.wrap(
        words,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + 2),
        break_long_words=False,
        break_on_hyphens=False,
    )
