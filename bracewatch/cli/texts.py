"""The commands about texts: what one costs to send, and how a reply is read."""

from __future__ import annotations

import json

import click

from bracewatch.cli.given import Given, one_of
from bracewatch.cli.reading_words import why
from bracewatch.messages import replies
from bracewatch.messages.kinds import Asked
from bracewatch.messages.replies import Reading
from bracewatch.messages.segments import measure

TAKES_ANY_TEXT = {"ignore_unknown_options": True}  # a reply may be "-3"
_NEXT = {
    "keep": "kept as it was read",
    "ask_again": "asked once more",
    "to_staff": "given to staff",
}


@click.command(context_settings=TAKES_ANY_TEXT)
@click.argument("text")
@click.option("--json", "as_json", is_flag=True, help="Print encoding, units and parts as JSON.")
def segments(text: str, as_json: bool) -> None:
    """Tell what TEXT costs to send: its encoding, its units, and the parts it is billed as."""
    given = Given()
    cost = given.read("TEXT", text, measure)
    if cost is None:
        raise given.refusal()
    if as_json:
        click.echo(json.dumps({"encoding": cost.encoding, "units": cost.units, "parts": cost.parts}))
        return
    units = "septets" if cost.encoding == "GSM-7" else "UTF-16 units"
    click.echo(f"{cost.encoding}, {cost.units} {units}, {cost.parts} part{'' if cost.parts == 1 else 's'}")


@click.command(context_settings=TAKES_ANY_TEXT)
@click.argument("text")
@click.option("--language", required=True, metavar="CODE", help="The caregiver's language, as in sw.")
@click.option("--asked", required=True, metavar="WHAT", help="The last question: hours, nights, coming or nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print meaning, about, value, confidence, next and rule as JSON.")
def understand(text: str, language: str, asked: str, as_json: bool) -> None:
    """Tell how the reply TEXT is read, and why."""
    given = Given()
    code = given.read("--language", language, one_of(replies.languages()))
    question = given.read("--asked", asked, one_of(Asked))
    if code is None or question is None:
        raise given.refusal()
    reading = replies.understand(text, language=code, asked=Asked(question))
    click.echo(json.dumps(_as_json(reading), ensure_ascii=False) if as_json else "\n".join(_in_words(reading)))


def _as_json(reading: Reading) -> dict[str, object]:
    return {
        "meaning": reading.meaning,
        "about": reading.about,
        "value": _value(reading),
        "confidence": reading.confidence,
        "next": reading.next,
        "rule": reading.rule,
    }


def _value(reading: Reading) -> float | list[float] | None:
    """One number, or the two of a range; whole numbers without a point."""
    if reading.value is None:
        return None
    low, high = (int(number) if number.is_integer() else number for number in reading.value)
    return low if low == high else [low, high]


def _in_words(reading: Reading) -> list[str]:
    value = (
        "" if reading.value is None else ", " + " to ".join(f"{number:g}" for number in dict.fromkeys(reading.value))
    )
    about = f": {reading.about}" if reading.about else ""
    return [
        f"Read as     {reading.meaning.replace('_', ' ')}{about}{value}",
        f"Why         {why(reading.rule)} [{reading.rule}]",
        f"Confidence  {reading.confidence:g} (a ranking, no probability; under 0.6 a person looks at it)",
        f"Next        {_NEXT[reading.next]}",
    ]
