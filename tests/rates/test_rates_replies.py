"""Check-ins answered within two days, by hand-worked examples (CALC)."""

from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from bracewatch.rates.adherence import CheckIn, Group
from bracewatch.rates.replies import Heard, Replies, by_month

NOW = datetime(2026, 11, 24, 12, tzinfo=UTC)
SENT = datetime(2026, 11, 2, 18, tzinfo=UTC)
NOVEMBER = date(2026, 11, 1)
TWO_DAYS, A_SECOND = timedelta(days=2), timedelta(seconds=1)


def asked(child: int = 1, when: datetime = SENT) -> CheckIn:
    return CheckIn(child, when, when.date().replace(day=1), Group.NIGHTS, "Nights")


def answered(*heard: Heard) -> int:
    (row,) = by_month([asked()], heard, NOW)
    return row.answered


def test_a_word_within_two_days_answers_a_check_in() -> None:
    assert answered(Heard(1, SENT + TWO_DAYS - A_SECOND)) == 1


def test_a_word_after_two_days_is_too_late() -> None:
    assert answered(Heard(1, SENT + TWO_DAYS)) == 0


def test_a_word_before_the_check_in_does_not_answer_it() -> None:
    assert answered(Heard(1, SENT - A_SECOND)) == 0


def test_a_word_from_another_family_does_not_answer_it() -> None:
    assert answered(Heard(2, SENT + A_SECOND)) == 0


def test_two_words_answer_one_check_in_once() -> None:
    assert answered(Heard(1, SENT + A_SECOND), Heard(1, SENT + TWO_DAYS / 2)) == 1


def test_a_check_in_younger_than_two_days_waits_even_if_it_was_answered() -> None:
    (row,) = by_month([asked(when=NOW - TWO_DAYS + A_SECOND)], [Heard(1, NOW)], NOW)
    assert (row.sent, row.waiting, row.answered) == (1, 1, 0)
    assert row.answered_share is None


def test_a_month_worked_by_hand() -> None:
    """CALC: five check-ins to two children, one of them waiting; 3 of the other 4 answered: 3 / 4 = 0.75."""
    days = [(1, 2), (1, 9), (2, 2), (2, 9), (2, 23)]
    check_ins = [asked(child, SENT.replace(day=day)) for child, day in days]
    heard = [Heard(child, check_in.sent_at + A_SECOND) for (child, _), check_in in zip(days, check_ins, strict=True)]
    (row,) = by_month(check_ins, heard[1:], NOW)
    assert row == Replies(NOVEMBER, children=2, sent=5, waiting=1, answered=3)
    assert row.answered_share == 0.75


def test_without_check_ins_there_is_no_month() -> None:
    assert by_month([], [Heard(1, SENT)], NOW) == []


moments = st.integers(0, 60 * 24).map(lambda hours: datetime(2026, 9, 26, tzinfo=UTC) + timedelta(hours=hours))
pairs = st.lists(st.tuples(st.integers(1, 3), moments), max_size=20)


@given(pairs, pairs, st.randoms(use_true_random=False))
def test_no_more_are_answered_than_were_sent_and_order_does_not_matter(
    sent: list[tuple[int, datetime]], written: list[tuple[int, datetime]], dice: object
) -> None:
    check_ins, heard = [asked(*pair) for pair in sent], [Heard(*pair) for pair in written]
    rows = by_month(check_ins, heard, NOW)
    assert sum(row.sent for row in rows) == sum(check_in.sent_at <= NOW for check_in in check_ins)
    assert all(0 <= row.answered <= row.answerable <= row.sent for row in rows)
    dice.shuffle(check_ins)  # type: ignore[attr-defined]
    dice.shuffle(heard)  # type: ignore[attr-defined]
    assert by_month(check_ins, heard, NOW) == rows
