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


# One message a day and three a week that nobody asked for (the project's own rule, PRACTICE).


ON_A_CHECK_IN_DAY = {"moved": [["first-fit", "2026-09-09"]]}  # its last reminder and a check-in: 8 September, 18:00


def kinds(now: str, **given: object) -> list[Kind]:
    return [kind for kind, _ in said(now, agreed="2026-08-25T09:00Z", **given)]


def test_of_two_messages_due_at_once_the_visit_goes_first_and_the_check_in_the_evening_after() -> None:
    at = "2026-09-08T15:00Z"
    assert kinds(at, **ON_A_CHECK_IN_DAY) == [Kind.VISIT_REMINDER]
    reminded = [["visit-reminder:7:first-fit:2026-09-09:2026-09-08", at, True]]
    kept = {**ON_A_CHECK_IN_DAY, "written": reminded, "kept": [["first-fit", "2026-09-09"]]}
    assert kinds("2026-09-08T17:00Z", **ON_A_CHECK_IN_DAY, written=reminded) == []
    assert kinds("2026-09-09T14:59Z", **kept) == []
    assert said("2026-09-09T15:00Z", **kept) == [(Kind.CHECK_IN_HOURS, "check-in:7:2026-09-08")]
    assert kinds("2026-09-09T18:00Z", **kept) == []


def test_the_next_look_is_when_what_gave_way_may_go_out() -> None:
    now = moment("2026-09-08T15:00Z")
    reminded = [["visit-reminder:7:first-fit:2026-09-09:2026-09-08", now.isoformat(), True]]
    result = review(case_from(now, agreed="2026-08-25T09:00Z", **ON_A_CHECK_IN_DAY, written=reminded), now)
    assert result.messages == ()
    assert result.wake_at is not None
    assert result.wake_at <= moment("2026-09-09T15:00Z")


def test_a_check_in_that_gives_way_to_nothing_goes_out_on_its_day_alone() -> None:
    assert kinds("2026-09-08T15:00Z", kept=[["first-fit", "2026-09-05"]]) == [Kind.CHECK_IN_HOURS]
    assert kinds("2026-09-09T15:00Z", kept=[["first-fit", "2026-09-05"]]) == []


def three_this_week(counts: bool = True) -> list[list[object]]:
    return [[f"check-in:7:2026-09-0{day}", f"2026-09-0{day}T15:00:00Z", counts] for day in (3, 5, 7)]


def test_a_fourth_message_within_seven_days_is_not_sent() -> None:
    kept = {"kept": [["first-fit", "2026-09-05"]]}
    assert kinds("2026-09-08T15:00Z", **kept, written=three_this_week()) == []
    assert kinds("2026-09-08T15:00Z", **kept, written=three_this_week()[1:]) == [Kind.CHECK_IN_HOURS]


def test_what_never_went_out_takes_nobodys_room() -> None:
    kept = {"kept": [["first-fit", "2026-09-05"]]}
    assert kinds("2026-09-08T15:00Z", **kept, written=three_this_week(counts=False)) == [Kind.CHECK_IN_HOURS]


def test_the_last_reminder_of_a_visit_always_goes_out() -> None:
    assert kinds("2026-09-08T15:00Z", **ON_A_CHECK_IN_DAY, written=three_this_week()) == [Kind.VISIT_REMINDER]
    today = [["missed-visit:7:x:2026-09-07", "2026-09-08T12:00:00Z", True]]
    assert kinds("2026-09-08T15:00Z", **ON_A_CHECK_IN_DAY, written=today) == [Kind.VISIT_REMINDER]


def test_the_word_after_a_missed_visit_waits_for_a_day_with_room_and_not_for_the_week() -> None:
    week = [[f"reminder:{day}", f"2026-09-{day}T15:00:00Z", True] for day in (12, 14, 15)]
    assert kinds("2026-09-16T15:00Z", written=week) == [Kind.MISSED_VISIT]
    today = [*week, ["reminder:16", "2026-09-16T05:00:00Z", True]]
    assert kinds("2026-09-16T15:00Z", written=today) == []
    assert kinds("2026-09-17T14:59Z", written=today) == []
    assert kinds("2026-09-17T15:00Z", written=today) == [Kind.MISSED_VISIT]


def test_the_welcome_answers_the_agreement_and_takes_nobodys_room() -> None:
    assert kinds("2026-09-01T08:59Z") == [Kind.WELCOME]
    assert Kind.CHECK_IN_HOURS in dict(said("2026-09-03T15:00Z"))


def test_what_was_put_down_before_is_not_said_again() -> None:
    welcomed = [["welcome:5", "2026-09-01T09:00:00Z", False]]
    assert said("2026-09-01T09:00Z", written=welcomed) == []
