"""`plan` with boots, the bar, and when texts go out where the family lives."""

import json

import pytest
from click.testing import CliRunner, Result

from bracewatch.cli import main


def plan(*words: str) -> Result:
    return CliRunner().invoke(main, ["plan", "--born", "2026-07-01", "--brace-start", "2026-09-01", *words])


def test_the_next_boots_of_each_foot_are_told() -> None:
    # Gould N et al. Foot Ankle 1990;10(4):211-213: under 15 months half a size in less than two months. READ
    # Size: (86 + 15) x 0.15 = 15.15, rounded up to 15.5; (80 + 15) x 0.15 = 14.25, up to 14.5. CALC
    done = plan("--foot-length", "left=86@2026-09-01", "--foot-length", "right=80@2026-09-01")
    assert done.exit_code == 0
    assert "left: 86 mm on 2026-09-01 is size 15.5; size 16 is due between" in done.output
    assert "right: 80 mm on 2026-09-01 is size 14.5; size 15 is due between" in done.output
    assert "spurts" in " ".join(done.output.split())


def test_the_bar_is_as_long_as_the_shoulders_are_wide() -> None:
    # Gupta S, Agarwal A. J Foot Ankle Surg (Asia Pac) 2021;8(3):118-125: heel to heel = shoulder width. READ
    assert "bar: 18.5 cm from heel centre to heel centre" in plan("--shoulder-width", "18.5").output


def test_texts_are_told_on_the_familys_clocks_through_a_change_of_the_clock() -> None:
    # IANA tz database: Cairo left summer time (+03) for +02 at the end of 29 October 2026, the last Thursday.
    words = ["plan", "--born", "2026-07-01", "--brace-start", "2026-10-13"]
    words += ["--zone", "Africa/Cairo", "--contact-time", "19:30", "--clinic-days", "tue"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0
    assert "Tue 2026-10-27 19:30 +0300, 16:30 UTC: how was the wear?" in done.output
    assert "Tue 2026-11-03 19:30 +0200, 17:30 UTC: how was the wear?" in done.output
    assert "Sat 2026-10-24 19:30 +0300, 16:30 UTC: a visit is near" in done.output


def test_json_holds_boots_bar_and_every_text_in_utc() -> None:
    # IANA tz database: Cairo left summer time (+03) for +02 at the end of 29 October 2026: 18:00 is 15:00, then 16:00.
    words = ("--foot-length", "left=86@2026-09-01", "--shoulder-width", "18.5", "--zone", "Africa/Cairo", "--json")
    answer = json.loads(plan(*words, "--until", "2026-11-30").stdout)
    (boot,) = answer["boots"]
    assert (boot["side"], boot["measured_on"], boot["length_mm"]) == ("left", "2026-09-01", 86)
    assert (boot["size"], boot["next_size"], boot["outgrown"]) == (15.5, 16, False)
    assert boot["measured_on"] <= boot["ready_from"] <= boot["earliest"] < boot["latest"]
    assert answer["bar_cm"] == 18.5
    assert answer["texts"][0] == {"at": "2026-09-03T15:00Z", "what": ["check-in"]}
    assert {"at": "2026-09-12T15:00Z", "what": ["reminder"]} in answer["texts"]
    assert answer["texts"][-1] == {"at": "2026-11-30T16:00Z", "what": ["reminder"]}  # of the visit on 1 December
    assert len(answer["texts"]) > 8  # people see the first eight


def test_nothing_is_added_that_was_not_asked_for() -> None:
    done = plan()
    assert "Boots" not in done.output
    assert "Texts, as planned" not in done.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--foot-length", "left=86"), "left=86@2026-09-01"),
        (("--foot-length", "middle=86@2026-09-01"), "left=86@2026-09-01"),
        (("--foot-length", "left=900@2026-09-01"), "foot length"),
        (("--foot-length", "left=86@2026-02-30"), "not a day in the calendar"),
        (("--foot-length", "left=86@2025-09-01"), "birth"),
        (("--shoulder-width", "300"), "shoulder width"),
        (("--shoulder-width", "wide"), "'wide' is not a number of centimetres: write it as in 18 or 18.5"),
        (("--shoulder-width", "nan"), "'nan' is not a number of centimetres"),
        (("--foot-length", f"left={'9' * 400}@2026-09-01"), "left=86@2026-09-01"),
        (("--zone", "Cairo"), "not a time zone"),
        (("--contact-time", "22:00"), "quiet hours"),
        (("--contact-time", "6pm"), "not a time of day"),
        (("--contact-time", "18:00"), "say with --zone"),
    ],
)
def test_what_cannot_be_is_named(words: tuple[str, ...], said: str) -> None:
    done = plan(*words)
    assert done.exit_code == 2
    assert said in done.output
    assert "Traceback" not in done.output


def test_all_faults_are_named_together() -> None:
    done = plan("--foot-length", "left=9@2026-09-01", "--zone", "Cairo", "--contact-time", "22:00")
    assert done.exit_code == 2
    assert all(option in done.output for option in ("--foot-length", "--zone", "--contact-time"))
