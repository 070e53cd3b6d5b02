from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from cases import START, case_from
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.review import Case, review
from bracewatch.review.call_list import Card, Standing, by_urgency, in_order
from bracewatch.review.flag import Urgency

EARLIEST = datetime(2026, 9, 1, 6, tzinfo=UTC)
MOMENTS = st.integers(0, 60 * 24 * 250).map(lambda minutes: EARLIEST + timedelta(minutes=minutes))


@st.composite
def histories(draw: st.DrawFn) -> dict[str, Any]:
    """What a family may have lived through in its first months, as the tables write it."""

    def instants(size: int) -> list[str]:
        return [moment.isoformat() for moment in draw(st.lists(MOMENTS, max_size=size))]

    def days(size: int) -> list[str]:
        return [moment.date().isoformat() for moment in draw(st.lists(MOMENTS, max_size=size))]

    keys = st.sampled_from(["first-fit", "step-down", "every-four-months-1"])
    return {
        "brace_start": draw(st.sampled_from(["2026-09-01", "2026-09-01", "2026-11-15"])),
        "protocol": draw(st.sampled_from(["nights-to-four", "graded-step-down"])),
        "kept": [[draw(keys), day] for day in days(2)],
        "moved": [[draw(keys), day] for day in days(2)],
        "decided": days(1),
        "hours": [[day, draw(st.integers(0, 24)), heard] for day, heard in zip(days(6), instants(6), strict=False)],
        "written": [[f"visit-reminder:old:{n}", at, draw(st.booleans())] for n, at in enumerate(instants(6))],
        "asked": [[at, draw(st.sampled_from(["hours", "nights", "coming"]))] for at in instants(4)],
        "heard": [
            {
                "at": at,
                "meaning": draw(st.sampled_from(["hours", "trouble", "call_me", "unread", "not_coming", "stop"])),
                "about": draw(st.sampled_from([None, "skin", "toes", "broken"])),
                "next": draw(st.sampled_from(["keep", "ask_again", "to_staff"])),
            }
            for at in instants(4)
        ],
        "calls": [[at, draw(st.booleans())] for at in instants(3)],
    }


def known_by(now: datetime, history: dict[str, Any]) -> Case:
    """The case as it stood at `now`: what had happened by then."""
    day, at = now.date().isoformat(), now.isoformat()
    return case_from(
        now,
        protocol=history["protocol"],
        brace_start=history["brace_start"],
        enrolled=START.isoformat(),
        kept=[row for row in history["kept"] if history["brace_start"] <= row[1] <= day],
        moved=[row for row in history["moved"] if row[1] >= history["brace_start"]],
        decided=[row for row in history["decided"] if history["brace_start"] < row <= day],
        hours=[row for row in history["hours"] if row[2] <= at],
        written=[row for row in history["written"] if row[1] <= at],
        asked=[row for row in history["asked"] if row[0] <= at],
        heard=[row for row in history["heard"] if row["at"] <= at],
        calls=[row for row in history["calls"] if row[0] <= at],
    )


@given(histories(), MOMENTS)
def test_the_next_look_is_always_ahead_and_messages_are_due_and_useful(history: dict[str, Any], now: datetime) -> None:
    result = review(known_by(now, history), now)
    assert result.wake_at is None or result.wake_at > now
    for message in result.messages:
        assert message.due_at <= now < message.useful_until
    assert len({message.key for message in result.messages}) == len(result.messages)
    assert len({flag.code for flag in result.flags}) == len(result.flags)
    assert review(known_by(now, history), now) == result


@given(histories(), MOMENTS, st.integers(1, 60 * 24 * 30))
def test_nothing_changes_before_the_next_look(history: dict[str, Any], now: datetime, minutes: int) -> None:
    case = known_by(now, history)
    first = review(case, now)
    later = now + timedelta(minutes=minutes)
    if first.wake_at is not None and later >= first.wake_at:
        later = first.wake_at - timedelta(seconds=1)
    same_facts = known_by(later, {**history, **_only_known(history, now)})
    again = review(same_facts, later)
    assert {message.key for message in again.messages} <= {message.key for message in first.messages}
    assert [(flag.code, flag.urgency, flag.sentence) for flag in again.flags] == [
        (flag.code, flag.urgency, flag.sentence) for flag in first.flags
    ]


def _only_known(history: dict[str, Any], now: datetime) -> dict[str, Any]:
    day, at = now.date().isoformat(), now.isoformat()
    return {
        "kept": [row for row in history["kept"] if row[1] <= day],
        "decided": [row for row in history["decided"] if row <= day],
        "hours": [row for row in history["hours"] if row[2] <= at],
        "written": [row for row in history["written"] if row[1] <= at],
        "asked": [row for row in history["asked"] if row[0] <= at],
        "heard": [row for row in history["heard"] if row["at"] <= at],
        "calls": [row for row in history["calls"] if row[0] <= at],
    }


def test_a_naive_moment_is_refused() -> None:
    now = datetime(2026, 9, 10, tzinfo=UTC)
    with pytest.raises(ValueError, match="aware"):
        review(case_from(now), now.replace(tzinfo=None))


def standing(urgency: Urgency, since_day: int) -> Standing:
    return Standing("code", urgency, "sentence", (), datetime(2026, 9, since_day, tzinfo=UTC))


def test_the_call_list_goes_by_urgency_then_reasons_then_waiting() -> None:
    now_one = Card(1, (standing(Urgency.NOW, 9),), None)
    two_reasons = Card(2, (standing(Urgency.TODAY, 9), standing(Urgency.THIS_WEEK, 9)), None)
    waited_longest = Card(3, (standing(Urgency.TODAY, 2),), None)
    newest = Card(4, (standing(Urgency.TODAY, 8),), None)
    assert in_order([newest, waited_longest, two_reasons, now_one]) == [now_one, two_reasons, waited_longest, newest]


def test_a_card_shows_its_most_urgent_flag_first() -> None:
    flags = by_urgency([standing(Urgency.THIS_WEEK, 1), standing(Urgency.NOW, 9)])
    assert [flag.urgency for flag in flags] == [Urgency.NOW, Urgency.THIS_WEEK]
