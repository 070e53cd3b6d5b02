"""How days, moments, ages, figures and readings are worded for staff; most are filters in the templates."""

from __future__ import annotations

from datetime import date, datetime

import phonenumbers
from babel.dates import format_datetime
from babel.numbers import format_currency
from flask import Flask

from bracewatch.messages.adapter import Outcome
from bracewatch.messages.kinds import Kind, Meaning, Next
from bracewatch.messages.languages import LANGUAGES
from bracewatch.messages.provider_codes import OUTCOMES
from bracewatch.review.flag import days_ago, in_words
from bracewatch.review.flags import TITLES
from bracewatch.schedule.local_time import local, local_day
from bracewatch.schedule.spans import add_months
from bracewatch.services.calls import CallOutcome
from bracewatch.store.pages import Clinic, Reply, Sent

_MEANINGS = {
    Meaning.COMING: "comes to the visit",
    Meaning.NOT_COMING: "cannot come to the visit",
    Meaning.TROUBLE: "trouble",
    Meaning.CALL_ME: "asks for a call",
    Meaning.STOP: "wants no more messages",
    Meaning.START: "wants messages again",
    Meaning.HELP: "asks for help",
    Meaning.WRONG_PERSON: "says it is the wrong person",
    Meaning.MOVED: "has moved away",
    Meaning.UNREAD: "not understood",
}
_KINDS = {
    Kind.WELCOME: "Welcome",
    Kind.CHECK_IN_HOURS: "Check-in, hours",
    Kind.CHECK_IN_NIGHTS: "Check-in, nights",
    Kind.VISIT_REMINDER: "Visit reminder",
    Kind.MISSED_VISIT: "After a missed visit",
}
_STATES = {
    "queued": "waiting to be sent",
    "sending": "being sent",
    "sent": "sent",
    "failed": "could not be sent",
    "in_doubt": "in doubt: perhaps sent, being looked up",
    "unknown": "unknown: nobody could find out whether it was sent",
    "expired": "not sent, its time had passed",
    "withdrawn": "taken back, not sent",
}
# What the network reported after it took a message over. Anything else it says leaves the message "sent".
_DELIVERIES = {
    "delivered": "delivered",
    "read": "delivered and read",
    "undelivered": "not delivered",
    "failed": "not delivered",
    "canceled": "not delivered",
}
_WHY = {
    Outcome.PERMANENT: "this number cannot be reached",
    Outcome.OPTED_OUT: "this number asked the network for no more messages",
    Outcome.TRANSIENT: "the phone was off or the network busy",
    Outcome.ACCOUNT: "the network refused our account or its settings",
    Outcome.IN_DOUBT: "the network did not answer",
}


def read_day(text: str) -> date:
    """A calendar day written YYYY-MM-DD. Raises ValueError for anything else, 30 February included."""
    text = text.strip()
    if not text:
        raise ValueError("the day is missing: write it as in 2026-11-24")
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"“{text}” is not a day in the calendar: write it as in 2026-11-24") from error
    if day.isoformat() != text:
        raise ValueError(f"“{text}” is not written as a day: write it as in 2026-11-24")
    return day


def moment(at: datetime, zone: str) -> str:
    """A moment on the zone's clocks, as in "24 Nov 2026, 14:05"."""
    there = local(at, zone)
    return f"{in_words(there.date())}, {there:%H:%M}"


def clock(at: datetime, zone: str) -> str:
    """A moment with its weekday, as in "Tuesday 24 Nov 2026, 14:05"."""
    return f"{local(at, zone):%A} {moment(at, zone)}"


def day_in(at: datetime, zone: str) -> str:
    """The calendar day of a moment in the zone, as in "24 Nov 2026"."""
    return in_words(local_day(at, zone))


def ago(at: datetime, now: datetime, zone: str) -> str:
    """How many calendar days ago in the zone, as in "today", "yesterday", "12 days ago"."""
    return days_ago((local_day(now, zone) - local_day(at, zone)).days)


def months_between(start: date, day: date) -> int:
    """Whole calendar months from `start` to `day`; negative only when `day` is before `start`."""
    months = (day.year - start.year) * 12 + day.month - start.month
    return months - 1 if add_months(start, months) > day else months


def age(born: date, on: date) -> str:
    """An age, as in "12 days", "7 months", "2 y 3 m"."""
    months = months_between(born, on)
    if months < 1:
        return count((on - born).days, "day")
    years, rest = divmod(months, 12)
    return f"{years} y {rest} m" if years >= 2 else count(months, "month")


def count(number: int, thing: str, things: str | None = None) -> str:
    """As in "1 day", "3 days", "2 families"."""
    return f"{number} {thing}" if number == 1 else f"{number} {things or thing + 's'}"


def sentence(fault: str) -> str:
    """A fault as a sentence of its own: "your name is missing" becomes "Your name is missing."."""
    return fault[:1].upper() + fault[1:] + ("" if fault.endswith((".", "?", "!")) else ".")


def hours(low: float, high: float) -> str:
    """Prescribed hours, as in "23 hours" or "12 to 14 hours"."""
    return f"{low:g} hours" if low == high else f"{low:g} to {high:g} hours"


def phone(number: str) -> str:
    """A number in E.164 as people read it, as in "+44 20 7946 0123"."""
    parsed = phonenumbers.parse(number)
    return str(phonenumbers.format_number(parsed, phonenumbers.PhoneNumberFormat.INTERNATIONAL))


def phone_time(at: datetime, zone: str, language: str) -> str:
    """A moment as a phone set to that language shows it beside a message, as in "24 Nov 14:05"."""
    return format_datetime(local(at, zone), "d MMM HH:mm", locale=language)


def direction(language: str) -> str:
    """The way a language is written, "ltr" or "rtl"; "auto" for one without texts here."""
    return LANGUAGES[language].direction if language in LANGUAGES else "auto"


def language_name(language: str) -> str:
    """A language's own name, as in "Kiswahili"; its code for one without texts here."""
    return LANGUAGES[language].name if language in LANGUAGES else language


def tag(language: str) -> str:
    """The code of a language as HTML writes it: "pt-BR" for "pt_BR"."""
    return language.replace("_", "-")


def title(code: str) -> str:
    """What a flag is called."""
    return TITLES.get(code, code)


def outcome(value: str) -> str:
    """What came of a call, in words."""
    return CallOutcome(value).words


def reading(reply: Reply) -> str:
    """How a reply was read, as in "4 hours", "trouble: skin", "not understood"."""
    said = []
    if reply.meaning in _MEANINGS:
        said.append(_MEANINGS[reply.meaning] + (f": {reply.about}" if reply.about else ""))
    if reply.value is not None:
        said.append(_figure(reply))
    return ", ".join(said)


def _figure(reply: Reply) -> str:
    assert reply.value is not None  # noqa: S101 - `reading` asks first
    low, high = reply.value
    nights = reply.meaning is Meaning.NIGHTS or (reply.meaning is Meaning.TROUBLE and reply.asked == "nights")
    figure = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return f"{figure} of 7 nights" if nights else f"{figure} hours"


def what_next(reply: Reply) -> str:
    """What happened with a reply after it was read, in words; empty when it was simply kept."""
    if reply.next is Next.ASK_AGAIN:
        return "asked once more"
    if reply.next is Next.TO_STAFF:
        return "read by a person" if reply.handled_at else "given to staff"
    return ""


def kind(value: str) -> str:
    """What a message of ours is for."""
    return _KINDS.get(Kind(value), "Our answer")


def state(value: str) -> str:
    """The state of a message in the outbox, in words."""
    return _STATES[value]


def became(message: Sent) -> str:
    """What became of a message, as in "delivered", "not delivered: this number cannot be reached (30005)"."""
    if message.state == "sent":
        said = _DELIVERIES.get(message.delivery or "", _STATES["sent"])
        return said + (_why(message.delivery_code) if said == "not delivered" else "")
    if message.state in ("queued", "sending") and message.error:
        return f"{_STATES[message.state]}; the last try did not get through{_why(message.error)}"
    return _STATES[message.state] + (_why(message.error) if message.state == "failed" else "")


def _why(code: str | None) -> str:
    """The reason behind a code of the network, led by a colon; a code without words is shown as it is."""
    if code is None:
        return ""
    known = OUTCOMES.get(int(code)) if code.isascii() and code.isdigit() else None
    return f": {_WHY[known]} ({code})" if known else f" ({code})"


def cost(parts: int, clinic: Clinic) -> str:
    """What so many parts cost by the clinic's own price, as in "KES 1.60"; empty when it has none."""
    if clinic.part_price is None or clinic.part_currency is None:
        return ""
    return str(
        format_currency(
            parts * clinic.part_price, clinic.part_currency, "¤¤ #,##0.00##", locale="en", currency_digits=False
        )
    )


def teach(app: Flask) -> None:
    """Give the templates of `app` these words as filters."""
    app.jinja_env.filters.update(
        day=in_words,
        moment=moment,
        day_in=day_in,
        clock=clock,
        ago=ago,
        age=age,
        count_of=count,
        sentence=sentence,
        hours_of=hours,
        phone=phone,
        phone_time=phone_time,
        direction=direction,
        language_name=language_name,
        tag=tag,
        flag_title=title,
        outcome=outcome,
        reading=reading,
        what_next=what_next,
        message_kind=kind,
        message_state=state,
        became=became,
        cost=cost,
    )
