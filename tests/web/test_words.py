"""How days, ages and figures are worded."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import CheckConstraint

from bracewatch.messages.kinds import Asked, Kind, Meaning, Next
from bracewatch.store.pages import Reply
from bracewatch.store.tables import outbox
from bracewatch.web import words


def reply(meaning: Meaning, **changes: object) -> Reply:
    values: dict[str, object] = {
        "id": 1,
        "child_id": 1,
        "phone": "+442079460101",
        "body": "x",
        "at": datetime(2026, 11, 24, tzinfo=UTC),
        "asked": Asked.HOURS,
        "meaning": meaning,
        "about": None,
        "value": None,
        "rule": "r",
        "next": Next.KEEP,
        "handled_at": None,
        **changes,
    }
    return Reply(**values)  # type: ignore[arg-type]


@given(st.dates(min_value=date(1900, 1, 1), max_value=date(2200, 1, 1)))
def test_a_day_in_iso_form_is_read_as_that_day(day: date) -> None:
    assert words.read_day(f" {day.isoformat()} ") == day


@pytest.mark.parametrize(
    "text", ["2026-02-30", "24 Nov 2026", "24/11/26", "20261124", "2026-W48-2", "", " ", "2026-11-24T10:00"]
)
def test_anything_else_is_no_day_and_the_error_shows_how(text: str) -> None:
    with pytest.raises(ValueError, match="write it as in 2026-11-24"):
        words.read_day(text)


def test_a_moment_is_shown_on_the_clocks_of_the_clinic() -> None:
    moment = datetime(2026, 11, 23, 23, 30, tzinfo=UTC)
    assert words.moment(moment, "Africa/Nairobi") == "24 Nov 2026, 02:30"
    assert words.clock(moment, "Africa/Nairobi") == "Tuesday 24 Nov 2026, 02:30"
    assert words.day_in(moment, "UTC") == "23 Nov 2026"
    assert words.ago(moment, moment + timedelta(hours=1), "UTC") == "yesterday"
    assert words.ago(moment, moment + timedelta(hours=1), "Africa/Nairobi") == "today"


@pytest.mark.parametrize(
    ("born", "on", "said"),
    [
        (date(2026, 11, 12), date(2026, 11, 24), "12 days"),
        (date(2026, 11, 23), date(2026, 11, 24), "1 day"),
        (date(2026, 1, 31), date(2026, 2, 28), "1 month"),
        (date(2026, 4, 25), date(2026, 11, 24), "6 months"),
        (date(2024, 11, 24), date(2026, 11, 24), "2 y 0 m"),
        (date(2024, 2, 29), date(2026, 5, 29), "2 y 3 m"),
    ],
)
def test_an_age_is_said_in_days_then_months_then_years(born: date, on: date, said: str) -> None:
    assert words.age(born, on) == said


def test_a_reading_is_said_in_words() -> None:
    assert words.reading(reply(Meaning.HOURS, value=(4.0, 4.0))) == "4 hours"
    assert words.reading(reply(Meaning.HOURS, value=(20.0, 22.0))) == "20 to 22 hours"
    assert words.reading(reply(Meaning.NIGHTS, value=(5.0, 5.0))) == "5 of 7 nights"
    assert words.reading(reply(Meaning.TROUBLE, about="skin", value=(20.0, 20.0))) == "trouble: skin, 20 hours"
    assert words.reading(reply(Meaning.TROUBLE, asked=Asked.NIGHTS, value=(3.0, 3.0))) == "trouble, 3 of 7 nights"


@pytest.mark.parametrize("meaning", Meaning)
def test_every_meaning_has_words(meaning: Meaning) -> None:
    assert words.reading(reply(meaning, value=(1.0, 1.0)))


def test_what_happened_next_is_said_only_when_something_did() -> None:
    handled = datetime(2026, 11, 24, tzinfo=UTC)
    assert words.what_next(reply(Meaning.HOURS)) == ""
    assert words.what_next(reply(Meaning.UNREAD, next=Next.ASK_AGAIN)) == "asked once more"
    assert words.what_next(reply(Meaning.UNREAD, next=Next.TO_STAFF)) == "given to staff"
    assert words.what_next(reply(Meaning.UNREAD, next=Next.TO_STAFF, handled_at=handled)) == "read by a person"


@pytest.mark.parametrize("kind", Kind)
def test_every_kind_of_message_has_words(kind: Kind) -> None:
    assert words.kind(kind.value)


def test_every_state_a_message_can_be_in_has_words() -> None:
    (check,) = (each for each in outbox.constraints if isinstance(each, CheckConstraint))
    states = [state.strip(" '()") for state in str(check.sqltext).split("IN")[1].split(",")]
    assert len(states) == 8
    assert all(words.state(state) for state in states)


def test_a_phone_shows_the_time_in_its_own_language() -> None:
    moment = datetime(2026, 11, 24, 15, 5, tzinfo=UTC)
    assert words.phone_time(moment, "Asia/Amman", "en") == "24 Nov 18:05"
    assert "نوفمبر" in words.phone_time(moment, "Asia/Amman", "ar")


def test_a_language_without_texts_is_still_shown() -> None:
    assert words.direction("xx") == "auto"
    assert words.language_name("xx") == "xx"
    assert words.tag("pt_BR") == "pt-BR"
