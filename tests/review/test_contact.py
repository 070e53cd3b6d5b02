from datetime import UTC, datetime, timedelta

import pytest
from cases import case_from, moment

from bracewatch.messages.kinds import Kind
from bracewatch.review import review
from bracewatch.review.contact import waking


def said(now: str, **given: object) -> list[tuple[Kind, str]]:
    at = moment(now)
    return [(message.kind, message.key) for message in review(case_from(at, **given), at).messages]


def test_a_family_that_agrees_by_day_is_welcomed_at_once() -> None:
    assert said("2026-09-01T09:00Z") == [(Kind.WELCOME, "welcome:5")]


def test_a_family_that_agrees_at_night_is_welcomed_at_eight_where_it_lives() -> None:
    assert said("2026-09-01T21:00Z", agreed="2026-09-01T20:30Z") == []
    assert said("2026-09-02T05:00Z", agreed="2026-09-01T20:30Z") == [(Kind.WELCOME, "welcome:5")]


def test_a_welcome_a_week_late_is_not_sent() -> None:
    assert said("2026-09-08T08:59Z")[0][0] is Kind.WELCOME
    assert all(kind is not Kind.WELCOME for kind, _ in said("2026-09-08T09:00Z"))


def test_the_first_check_in_comes_on_the_second_day_at_the_contact_time() -> None:
    assert said("2026-09-03T14:59Z")[1:] == []
    assert said("2026-09-03T15:00Z")[1:] == [(Kind.CHECK_IN_HOURS, "check-in:7:2026-09-03")]


def test_check_ins_then_come_every_week_of_full_time_and_ask_for_hours() -> None:
    days = [day for day in range(1, 31) if said(f"2026-10-{day:02}T15:00Z")]
    assert days == [6, 13, 20, 27]


def test_at_night_and_naps_they_come_every_two_weeks_and_ask_for_nights() -> None:
    given = {"kept": [["first-fit", "2026-09-15"], ["step-down", "2026-12-01"]], "decided": ["2026-12-01"]}
    days = {day: said(f"2027-01-{day:02}T15:00Z", **given) for day in range(1, 31)}
    assert [day for day, messages in days.items() if messages] == [12, 26]
    assert days[12] == [(Kind.CHECK_IN_NIGHTS, "check-in:7:2027-01-12")]


def test_while_nobody_has_decided_hours_are_asked_for_not_nights() -> None:
    given = {"kept": [["first-fit", "2026-09-15"], ["step-down", "2026-12-01"]]}
    assert said("2027-01-12T15:00Z", **given) == [(Kind.CHECK_IN_HOURS, "check-in:7:2027-01-12")]


def test_a_check_in_is_useful_until_nine_in_the_evening_only() -> None:
    assert said("2026-10-06T17:59Z")
    assert said("2026-10-06T18:00Z") == []


def test_after_a_low_report_check_ins_come_every_third_day_until_it_is_cleared() -> None:
    low = {"hours": [["2026-10-07", 4, "2026-10-08T08:00Z"]]}
    assert [day for day in range(8, 19) if said(f"2026-10-{day:02}T15:00Z", **low)] == [11, 13, 14, 17]
    cleared = {"hours": [*low["hours"], ["2026-10-08", 23], ["2026-10-09", 23]]}
    assert [day for day in range(10, 19) if said(f"2026-10-{day:02}T15:00Z", **cleared)] == [13]


def test_a_visit_is_reminded_of_three_days_and_one_day_before() -> None:
    reminders = [day for day in range(10, 16) if (Kind.VISIT_REMINDER in dict(said(f"2026-09-{day}T15:30Z")))]
    assert reminders == [12, 13, 14]  # the first is useful until the second is due
    keys = {dict(said(f"2026-09-{day}T15:30Z"))[Kind.VISIT_REMINDER] for day in reminders}
    assert keys == {
        "visit-reminder:7:first-fit:2026-09-15:2026-09-12",
        "visit-reminder:7:first-fit:2026-09-15:2026-09-14",
    }


def test_a_reminder_is_never_sent_after_the_visit_has_begun() -> None:
    assert Kind.VISIT_REMINDER in dict(said("2026-09-15T04:59Z"))
    assert Kind.VISIT_REMINDER not in dict(said("2026-09-15T05:00Z"))


def test_a_moved_visit_gets_a_reminder_of_its_new_day_under_a_new_key() -> None:
    at = moment("2026-09-16T15:00Z")
    message = next(
        message
        for message in review(case_from(at, moved=[["first-fit", "2026-09-17"]]), at).messages
        if message.kind is Kind.VISIT_REMINDER
    )
    assert message.key == "visit-reminder:7:first-fit:2026-09-17:2026-09-16"
    assert message.facts == {"day": datetime(2026, 9, 17).date()}  # noqa: DTZ001 - a calendar day


def test_a_missed_visit_is_followed_up_the_evening_after_it() -> None:
    assert Kind.MISSED_VISIT not in dict(said("2026-09-16T14:59Z"))
    assert dict(said("2026-09-16T15:00Z"))[Kind.MISSED_VISIT] == "missed-visit:7:first-fit:2026-09-15"


def test_a_kept_visit_is_not_followed_up() -> None:
    assert said("2026-09-16T15:00Z", kept=[["first-fit", "2026-09-15"]]) == []


@pytest.mark.parametrize("given", [{"stopped": "2026-09-02T09:00Z"}])
def test_a_family_that_stopped_messages_hears_nothing(given: dict[str, str]) -> None:
    for day in range(3, 20):
        assert said(f"2026-09-{day:02}T15:00Z", **given) == []


def test_a_family_taken_in_late_is_not_asked_about_the_past() -> None:
    given = {"enrolled": "2026-10-10", "agreed": "2026-10-10T09:00Z"}
    assert said("2026-10-10T15:00Z", **given) == [(Kind.WELCOME, "welcome:5")]
    assert (Kind.CHECK_IN_HOURS, "check-in:7:2026-10-13") in said("2026-10-13T15:00Z", **given)


def test_nothing_is_asked_before_the_brace_start_or_after_the_end() -> None:
    future = {"brace_start": "2026-10-01", "agreed": "2026-09-20T09:00Z", "enrolled": "2026-09-20"}
    assert said("2026-09-30T15:00Z", **future) == []
    grown = {"born": "2022-07-01", "brace_start": "2022-09-01", "decided": ["2022-12-01"], "enrolled": "2026-06-30"}
    after_the_end = [said(f"2026-07-{day:02}T15:00Z", **grown, agreed="2026-06-30T09:00Z") for day in range(8, 31)]
    assert after_the_end == [[]] * 23


def test_the_waking_hours_are_from_eight_to_nine_in_the_evening() -> None:
    night = datetime(2026, 9, 1, 18, 0, tzinfo=UTC)  # 21:00 in Nairobi
    assert waking(night - timedelta(minutes=1), "Africa/Nairobi") == night - timedelta(minutes=1)
    assert waking(night, "Africa/Nairobi") == datetime(2026, 9, 2, 5, 0, tzinfo=UTC)
    assert waking(datetime(2026, 9, 2, 4, 59, tzinfo=UTC), "Africa/Nairobi") == datetime(2026, 9, 2, 5, 0, tzinfo=UTC)
