"""Reading what was typed, so that everything that is wrong with it is named in one answer."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TypeVar

import click

from bracewatch.schedule import protocol
from bracewatch.schedule.rehearsing import load_rehearsed

T = TypeVar("T")


@dataclass
class Given:
    """What was typed, read field by field; every fault is kept so that all are named in one answer."""

    faults: list[str] = field(default_factory=list)

    def read(self, option: str, text: str | None, reader: Callable[[str], T]) -> T | None:
        """What `reader` makes of the text; None without a text, and, with a fault noted, when it cannot be read."""
        if text is None:
            return None
        try:
            return reader(text)
        except (ValueError, OSError) as error:
            self.faults.append(f"{option}: {error}")
            return None

    def read_all(self, option: str, texts: Iterable[str], reader: Callable[[str], T]) -> list[T]:
        """Those of the texts that can be read, in order; a fault is noted for each of the others."""
        values = [self.read(option, text, reader) for text in texts]
        return [value for value in values if value is not None]

    def refusal(self) -> click.UsageError:
        """Every fault, to be raised: the command then ends with exit code 2."""
        return click.UsageError("\n".join(self.faults))

    def refuse_if_faulty(self) -> None:
        if self.faults:
            raise self.refusal()


YEARS = range(1990, 2101)  # of children in bracing, and of the follow-up after it


def iso_date(text: str) -> date:
    """A calendar day written YYYY-MM-DD. Raises ValueError for anything else, 30 February included."""
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII) is None:
        raise ValueError(f"{text!r} is not written as a day: write it as in 2026-03-14")
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is not a day in the calendar: write it as in 2026-03-14") from error
    if day.year not in YEARS:
        raise ValueError(f"{text!r} lies outside the years {YEARS[0]} to {YEARS[-1]}")
    return day


def an_instant(text: str) -> datetime:
    """An instant in ISO 8601 with its offset. Raises ValueError without one."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is not an instant: write it as in 2026-11-25T09:00Z") from error
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} does not say in which zone: end it with Z or an offset such as +03:00")
    if moment.year not in YEARS:
        raise ValueError(f"{text!r} lies outside the years {YEARS[0]} to {YEARS[-1]}")
    return moment.astimezone(UTC)


def one_of(allowed: Iterable[str]) -> Callable[[str], str]:
    """A reader for one of these words. It raises ValueError that lists them."""
    words = tuple(allowed)

    def reader(text: str) -> str:
        if text not in words:
            raise ValueError(f"{text!r}: use {', '.join(words[:-1])} or {words[-1]}")
        return text

    return reader


def a_number(text: str, what: str, wanted: str) -> float:
    """A number of degrees or the like (`what`). Raises ValueError, saying what is `wanted`, for anything else."""
    if re.fullmatch(r"[-+]?\d{1,6}(\.\d+)?", text, re.ASCII) is None:
        raise ValueError(f"{text!r} is not a number of {what}: {wanted}")
    return float(text)


def degrees_within(low: float, high: float) -> Callable[[str], float]:
    """A reader for degrees from `low` to `high`, both included. It raises ValueError for anything else."""

    def reader(text: str) -> float:
        value = a_number(text, "degrees", f"give {low:g} to {high:g}")
        if not low <= value <= high:
            raise ValueError(f"{value:g} degrees cannot be: give {low:g} to {high:g}")
        return value

    return reader


def protocols_in(folder: str | None) -> dict[str, protocol.Protocol]:
    """The shipped protocols and those of a clinic's own folder. Raises ValueError with every fault of its files, those
    that show in use among them."""
    return protocol.available(Path(folder) if folder else None, load_rehearsed)


def a_protocol(known: dict[str, protocol.Protocol]) -> Callable[[str], protocol.Protocol]:
    """A reader for a protocol: the identifier of a known one, or the path of a TOML file."""

    def reader(text: str) -> protocol.Protocol:
        if text in known:
            return known[text]
        if text.endswith(".toml") or "/" in text or "\\" in text:
            return a_protocol_file(text)
        raise ValueError(f"no protocol {text!r}: there are {', '.join(known)}; or give the path of a TOML file")

    return reader


def a_protocol_file(text: str) -> protocol.Protocol:
    """The protocol in a TOML file. Raises ValueError with every fault, those that show in use among them, or that the
    file cannot be read."""
    try:
        return load_rehearsed(Path(text))
    except FileNotFoundError as error:
        raise ValueError(f"there is no file {text}") from error
    except OSError as error:
        raise ValueError(f"{text} cannot be read: {error.strerror}") from error
