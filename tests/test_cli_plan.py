"""The command `plan`, as somebody types it."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import holidays
import icalendar
import pytest
from click.testing import CliRunner, Result

from bracewatch.cli import main


def run(*words: str) -> Result:
    return CliRunner(env={"COLUMNS": "80", "BRACEWATCH_PROTOCOLS": ""}).invoke(main, words)


def plan(*words: str) -> Result:
    return run("plan", "--born", "2026-01-10", "--brace-start", "2026-03-01", *words)


def answer_to(*words: str) -> dict[str, Any]:
    done = plan(*words, "--json")
    assert done.exit_code == 0, done.output
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def visit(answer: dict[str, Any], key: str) -> dict[str, Any]:
    (found,) = [visit for visit in answer["visits"] if visit["key"] == key]
    return dict(found)


def sentences(answer: dict[str, Any]) -> str:
    return "\n".join(note["sentence"] for note in answer["notes"])


class TestPlan:
    def test_prints_phases_visits_end_sources_and_cautions(self) -> None:
        done = plan("--clinic-days", "tue,fri")
        assert done.exit_code == 0
        assert "2026-03-01 to 2026-06-01        23 h  Full time  until the clinic says so" in done.output
        assert "Tue 2026-03-17  First look at fit and skin (due 2026-03-15" in done.output
        assert "Bracing ends 2030-01-10" in done.output
        assert "[READ] Desai L" in done.output
        assert "Never stop the brace without asking" in done.output
        assert "Look again at" not in done.output

    def test_json_has_the_promised_keys_and_iso_dates(self) -> None:
        answer = answer_to("--clinic-days", "tue,fri")
        assert set(answer) == {
            *("protocol", "phases", "visits", "ends_on", "notes"),
            *("sides", "foot", "boots", "bar_cm", "texts", "changes"),
        }
        assert answer["protocol"] == {"id": "nights-to-four", "version": 1}
        assert answer["phases"][0] == {
            "key": "full-time",
            "start": "2026-03-01",
            "end": "2026-06-01",
            "hours_low": 23,
            "hours_high": 23,
            "gate": "step-down",
        }
        assert answer["visits"][0] == {
            "key": "first-fit",
            "due": "2026-03-15",
            "opens": "2026-03-11",
            "closes": "2026-03-22",
            "on": "2026-03-17",
            "why": "Sunday is no clinic day",
            "kept": None,
            "booked": False,
            "cancelled": False,
        }
        assert answer["ends_on"] == "2030-01-10"
        assert answer["notes"] == []

    def test_json_is_null_or_empty_where_nothing_was_asked_for(self) -> None:
        answer = answer_to()
        assert (answer["boots"], answer["bar_cm"], answer["texts"], answer["changes"]) == ([], None, None, None)
        assert (answer["sides"], answer["foot"]) == (None, "typical")

    def test_json_says_what_was_kept_booked_and_cancelled(self) -> None:
        answer = answer_to(
            *("--fact", "kept=2026-03-16", "--fact", "booked:step-down=2026-06-03"),
            *("--fact", "cancelled:every-four-months-1=2026-09-01", "--sides", "left", "--foot", "loose"),
        )
        states = {one["key"]: (one["kept"], one["booked"], one["cancelled"]) for one in answer["visits"]}
        assert states["first-fit"] == ("2026-03-16", False, False)
        assert states["step-down"] == (None, True, False)
        assert states["every-four-months-1"] == (None, False, True)
        assert states["every-four-months-2"] == (None, False, False)
        assert (answer["sides"], answer["foot"]) == ("left", "loose")

    def test_without_clinic_days_every_day_counts_and_says_so(self) -> None:
        assert "no clinic days given: every day counts as open" in plan().output
        for one in answer_to()["visits"]:
            assert one["on"] == one["due"]
            assert one["why"] == ""

    def test_until_leaves_out_what_lies_after_it(self) -> None:
        answer = answer_to("--until", "2026-05-01")
        assert [phase["key"] for phase in answer["phases"]] == ["full-time"]
        assert [visit["key"] for visit in answer["visits"]] == ["first-fit"]
        assert answer["ends_on"] == "2030-01-10"

    def test_until_before_the_brace_start_leaves_no_picture_and_no_phase(self) -> None:
        done = plan("--until", "2026-02-01")
        assert done.exit_code == 0
        assert "from 2026-03-01" not in done.output

    def test_the_picture_stays_within_eighty_columns(self) -> None:
        lines = plan("--clinic-days", "tue").output.splitlines()
        picture = lines[2 : lines.index("Phases (up to, not including, the second day)")]
        assert any(line.startswith("Full time") and "####" in line for line in picture)
        assert all(len(line) <= 80 and line.isascii() for line in picture)


class TestClinicDays:
    def test_a_public_holiday_moves_the_visit_and_is_named(self) -> None:
        # Source: the `holidays` package, Kenya: Madaraka Day on 1 June. READ
        assert date(2026, 6, 1) in holidays.country_holidays("KE", years=2026)
        moved = visit(answer_to("--country", "KE"), "step-down")
        assert (moved["due"], moved["on"]) == ("2026-06-01", "2026-06-02")
        assert moved["why"].startswith("public holiday:")

    def test_without_a_country_no_holiday_closes_the_clinic(self) -> None:
        assert visit(answer_to(), "step-down")["on"] == "2026-06-01"

    def test_a_country_may_be_written_small(self) -> None:
        assert visit(answer_to("--country", "ke"), "step-down")["on"] == "2026-06-02"

    def test_a_region_has_its_own_holidays(self) -> None:
        # Source: the `holidays` package: Corpus Christi, 4 June 2026, is kept in Bavaria and not in Berlin. READ
        day = "2026-06-04"
        assert date.fromisoformat(day) in holidays.country_holidays("DE", subdiv="BY", years=2026)
        assert date.fromisoformat(day) not in holidays.country_holidays("DE", subdiv="BE", years=2026)
        for region, on in (("BY", "2026-06-05"), ("BE", day)):
            words = ("plan", "--born", "2026-01-10", "--brace-start", "2026-03-04", "--country", "DE", "--json")
            answer = json.loads(run(*words, "--region", region).stdout)
            assert visit(answer, "step-down")["on"] == on

    def test_the_clinics_own_closed_days_are_kept_free(self) -> None:
        answer = answer_to("--closed", "2026-06-01", "--closed", "2026-06-02")
        moved = visit(answer, "step-down")
        assert moved["on"] == "2026-05-31"
        assert moved["why"] == "closed: the clinic's own day off"

    def test_a_window_without_an_open_day_is_said_and_noted(self) -> None:
        closed = [word for day in range(11, 23) for word in ("--closed", f"2026-03-{day}")]
        answer = answer_to(*closed)
        without = visit(answer, "first-fit")
        assert without["on"] is None
        assert without["why"] == "no open day in its window"
        (note,) = answer["notes"]
        assert note["field"] is None
        assert "no day is open from 2026-03-11 to 2026-03-22" in note["sentence"]
        assert note["label"] == "CALC"
        assert "no open day in its window" in plan(*closed).output

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("--country", "XX"), "use an ISO code such as KE"),
            (("--country", "DE", "--region", "ZZ"), "no region 'ZZ' in DE"),
            (("--region", "BY"), "say with --country in which country"),
            (("--closed", "2026-02-30"), "not a day in the calendar"),
        ],
    )
    def test_what_is_not_known_is_refused(self, words: tuple[str, ...], said: str) -> None:
        done = plan(*words)
        assert done.exit_code == 2
        assert said in done.output


class TestFacts:
    def test_a_decision_ends_full_time_on_its_day(self) -> None:
        for word in ("step-down=2026-06-09", "opened:step-down=2026-06-09"):
            answer = answer_to("--fact", word)
            assert answer["phases"][0]["end"] == answer["phases"][1]["start"] == "2026-06-09"

    def test_a_decided_phase_no_longer_waits_for_the_clinic(self) -> None:
        assert "until the clinic says so" in plan().output
        assert "until the clinic says so" not in plan("--fact", "step-down=2026-06-09").output

    def test_full_time_goes_on_while_the_clinic_holds_it(self) -> None:
        answer = answer_to("--fact", "held:step-down=2026-06-01..2026-07-15")
        assert answer["phases"][0]["end"] == "2026-07-15"

    def test_a_kept_visit_stands_on_the_day_the_child_came(self) -> None:
        kept = visit(answer_to("--fact", "kept:first-fit=2026-03-18"), "first-fit")
        assert (kept["on"], kept["why"]) == ("2026-03-18", "the child came on this day")

    def test_an_unplanned_visit_satisfies_the_one_whose_window_it_falls_in(self) -> None:
        answer = answer_to("--fact", "kept=2026-03-12")
        assert visit(answer, "first-fit")["on"] == "2026-03-12"

    def test_an_unplanned_visit_between_windows_stands_for_itself(self) -> None:
        answer = answer_to("--fact", "kept=2026-04-20")
        assert visit(answer, "first-fit")["on"] == "2026-03-15"
        assert visit(answer, "unplanned-2026-04-20")["on"] == "2026-04-20"

    def test_a_visit_can_be_booked_and_cancelled_and_the_last_word_counts(self) -> None:
        booked, cancelled = ("--fact", "booked:first-fit=2026-03-20"), ("--fact", "cancelled:first-fit=2026-03-14")
        last_booked = visit(answer_to(*cancelled, *booked), "first-fit")
        assert (last_booked["on"], last_booked["why"]) == ("2026-03-20", "the clinic chose this day")
        last_cancelled = visit(answer_to(*booked, *cancelled), "first-fit")
        assert (last_cancelled["on"], last_cancelled["why"]) == (None, "cancelled")

    def test_a_booking_outside_the_window_or_on_a_closed_day_is_noted_not_refused(self) -> None:
        said = sentences(answer_to("--fact", "booked:first-fit=2026-04-05"))
        assert "outside its window" in said
        said = sentences(answer_to("--closed", "2026-03-20", "--fact", "booked:first-fit=2026-03-20"))
        assert "booked on 2026-03-20: closed" in said

    def test_a_pause_has_no_hours_and_cuts_the_phase(self) -> None:
        answer = answer_to("--fact", "paused:skin=2026-04-01", "--fact", "resumed=2026-04-10")
        assert [(phase["key"], phase["hours_high"]) for phase in answer["phases"][:3]] == [
            ("full-time", 23),
            ("paused", 0),
            ("full-time", 23),
        ]
        assert answer["notes"] == []

    def test_only_the_last_piece_of_a_paused_phase_waits_for_the_clinic(self) -> None:
        done = plan("--fact", "paused:skin=2026-04-01", "--fact", "resumed=2026-04-10")
        assert [line for line in done.output.splitlines() if line.endswith("Full time")] != []
        assert done.output.count("until the clinic says so") == 1

    def test_a_pause_that_nobody_ended_is_noted(self) -> None:
        assert "paused since 2026-04-01" in sentences(answer_to("--fact", "paused=2026-04-01"))

    def test_bracing_can_be_lengthened_and_ended(self) -> None:
        assert answer_to("--fact", "lengthened=2029-12-01..2031-01-10")["ends_on"] == "2031-01-10"
        ended = plan("--fact", "ended:relapse=2027-05-05")
        assert "Bracing ends 2027-05-05" in ended.output
        assert "if the clinic agrees" not in ended.output

    def test_a_lengthening_of_bracing_that_was_ended_before_is_noted_and_one_that_was_lived_through_is_not(
        self,
    ) -> None:
        lengthened, noted = ("--fact", "lengthened=2029-06-01..2032-01-01"), "lengthening has no effect"
        assert noted in sentences(answer_to(*lengthened, "--fact", "ended:relapse=2029-08-01"))
        assert noted not in sentences(answer_to(*lengthened, "--fact", "ended:relapse=2031-08-01"))
        assert noted not in sentences(answer_to(*lengthened))

    def test_a_decision_before_the_window_of_its_visit_is_noted_with_the_day_planned(self) -> None:
        said = sentences(answer_to("--fact", "step-down=2026-03-02"))
        assert (
            "'step-down' was made on 2026-03-02, before the window of its visit opens: it is planned for 2026-06-01"
            in said
        )
        assert "before the window" in sentences(answer_to("--fact", "step-down=2026-03-02", "--until", "2026-04-01"))
        for day in ("2026-05-25", "2026-06-09"):  # the window opens seven days before
            assert "before the window" not in sentences(answer_to("--fact", f"step-down={day}"))

    def test_a_lengthening_that_changes_nothing_is_noted(self) -> None:
        assert "goes on until 2030-01-10 anyway" in sentences(answer_to("--fact", "lengthened=2029-01-01..2029-06-01"))

    def test_contradictions_and_unknown_keys_are_all_named_in_one_answer(self) -> None:
        done = plan(
            *("--fact", "resumed=2026-04-01", "--fact", "step-down=2026-02-01", "--fact", "kept:frist-fit=2026-03-18"),
            *("--fact", "held:stepdown=2026-06-01..2026-07-01", "--fact", "lengthened=2029-06-01..2029-05-01"),
        )
        assert done.exit_code == 2
        for said in (
            "resumed on 2026-04-01, but it was not paused then",
            "2026-02-01 is before the brace start 2026-03-01",
            "no visit 'frist-fit'; it has first-fit, step-down, every-four-months-1 to 7, every-six-months-1 to 2, ",
            "no decision 'stepdown'; it has step-down",
            "lasts until 2029-05-01, which is not after it",
        ):
            assert said in done.output
        assert "Traceback" not in done.output

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("kept", "write KIND=DATE"),
            ("kept:=2026-03-18", "something is missing between"),
            ("kept:first-fit=18.3.2026", "write it as in 2026-03-14"),
            ("booked=2026-03-18", "say which one"),
            ("stepdown=2026-06-09", "use kept, booked,"),
            ("stepdown=2026-06-09", "a decision of this protocol (step-down)"),
            ("step-down:now=2026-06-09", "is no kind of fact"),
            ("held:step-down=2026-06-01", "two days, from and until"),
            ("lengthened=2029-12-01..", "write it as in 2026-03-14"),
            ("lengthened:why=2029-12-01..2031-01-01", "does not belong here"),
            ("resumed:skin=2026-04-01", "does not belong here"),
            ("kept:first-fit=2026-03-18..2026-03-19", "one day wanted"),
            ("taken-back=2026-06-10", "say which one: write it as in taken-back:step-down"),
        ],
    )
    def test_a_fact_written_wrongly_is_refused_with_how_to_write_it(self, text: str, said: str) -> None:
        done = plan("--fact", text)
        assert done.exit_code == 2
        assert said in done.output

    def test_a_decision_that_leaves_its_phase_no_day_is_refused(self) -> None:
        done = plan("--fact", "step-down=2026-03-01")
        assert done.exit_code == 2
        assert "would leave no day of the phase it ends, which begins 2026-03-01" in done.output
        assert plan("--fact", "step-down=2026-03-02").exit_code == 0

    def test_a_pause_after_the_end_of_bracing_is_refused(self) -> None:
        assert "but bracing ended on 2030-01-10" in plan("--fact", "paused=2030-02-01").output

    def test_visits_that_only_the_plan_with_its_facts_has_are_known(self) -> None:
        longer = ("--fact", "lengthened=2029-12-20..2031-01-10")
        late = ("--fact", "booked:every-six-months-4=2030-09-01")
        assert plan(*longer, *late).exit_code == 0
        refused = plan(*late)
        assert refused.exit_code == 2
        assert "the plan has no visit 'every-six-months-4'" in refused.output

    def test_a_visit_is_not_known_only_because_it_is_said_to_be_kept(self) -> None:
        twice = plan("--fact", "kept:frist-fit=2026-03-18", "--fact", "booked:frist-fit=2026-03-19")
        assert "the plan has no visit 'frist-fit'" in twice.output

    def test_a_decision_that_was_a_mistake_is_taken_back(self) -> None:
        decided = ("--fact", "step-down=2026-06-09")
        assert "until the clinic says so" not in plan(*decided).output
        assert "until the clinic says so" in plan(*decided, "--fact", "taken-back:step-down=2026-06-10").output
        anew = answer_to(*decided, "--fact", "taken-back:step-down=2026-06-10", "--fact", "step-down=2026-06-16")
        assert anew["phases"][0]["end"] == "2026-06-16"

    def test_an_end_that_was_a_mistake_is_taken_back(self) -> None:
        ended = ("--fact", "ended:relapse=2027-05-05")
        assert answer_to(*ended)["ends_on"] == "2027-05-05"
        back = plan(*ended, "--fact", "taken-back:ended=2027-05-06")
        assert "Bracing ends 2030-01-10 (4 y 0 m old), if the clinic agrees" in back.output

    def test_what_was_not_decided_cannot_be_taken_back(self) -> None:
        assert plan("--fact", "taken-back:step-down=2026-06-10").exit_code == 2
        assert "no decision 'stepdown'" in plan("--fact", "taken-back:stepdown=2026-06-10").output

    def test_a_fact_that_is_ahead_is_drawn_and_noted_and_a_booking_is_not(self) -> None:
        noted = sentences(answer_to("--fact", "step-down=2029-06-09"))
        assert "Gate opened (step-down) on 2029-06-09 is ahead of" in noted
        assert "drawn as if it happens" not in sentences(answer_to("--fact", "booked:every-six-months-1=2029-04-03"))

    def test_a_visit_kept_outside_its_window_is_noted(self) -> None:
        assert "kept on 2026-03-05, outside its window" in sentences(answer_to("--fact", "kept:first-fit=2026-03-05"))
        assert "outside" not in sentences(answer_to("--fact", "kept:first-fit=2026-03-12"))


class TestAsOf:
    def test_a_step_that_nobody_decided_goes_on_to_the_day_after(self) -> None:
        phases = answer_to("--as-of", "2026-07-15")["phases"]
        assert (phases[0]["key"], phases[0]["end"]) == ("full-time", "2026-07-16")
        assert answer_to()["phases"][0]["end"] == "2026-06-01"

    def test_what_has_not_happened_by_then_is_refused_and_a_booking_is_not(self) -> None:
        done = plan("--as-of", "2026-05-01", "--fact", "step-down=2026-06-09")
        assert done.exit_code == 2
        assert "gate opened (step-down) on 2026-06-09 is after --as-of 2026-05-01" in done.output
        assert plan("--as-of", "2026-05-01", "--fact", "booked:step-down=2026-06-09").exit_code == 0


class TestMove:
    def test_what_was_before_the_day_stays_and_what_changes_is_shown(self) -> None:
        words = ("--fact", "step-down=2026-06-09", "--move", "graded-step-down=2026-07-01")
        starts = [(phase["key"], phase["start"]) for phase in answer_to(*words)["phases"]]
        assert starts[:3] == [
            ("full-time", "2026-03-01"),
            ("nights-and-naps", "2026-06-09"),
            ("step-1", "2026-07-01"),
        ]
        shown = plan(*words).output
        assert "What changes from 2026-07-01 on: A stays, B moves" in shown
        assert "+ Step 1: 20 to 22 hours" in shown
        assert "What changes" not in plan("--fact", "step-down=2026-06-09").output

    def test_json_holds_the_keys_of_what_changes_and_both_ends(self) -> None:
        changes = answer_to("--fact", "step-down=2026-06-09", "--move", "sleep-to-five=2026-10-01")["changes"]
        # Nights and naps go on up to the move as they were, then sleep; bracing to five years of age. CALC
        assert changes["from"] == "2026-10-01"
        assert changes["phases"] == {"added": ["sleep"], "dropped": [], "changed": ["nights-and-naps"]}
        assert (changes["ends_before"], changes["ends_after"]) == ("2030-01-10", "2031-01-10")
        assert changes["visits"]["added"] == ["every-six-months-3", "every-six-months-4"]
        assert "end-of-bracing" in changes["visits"]["changed"]
        assert "first-fit" not in changes["visits"]["changed"]
        assert "after-bracing-12" in changes["visits"]["dropped"]

    def test_visits_that_only_the_moved_plan_has_are_known(self) -> None:
        late = ("--fact", "booked:every-six-months-4=2030-06-20")
        assert plan(*late, "--move", "sleep-to-five=2026-10-01").exit_code == 0
        assert "the plan has no visit" in plan(*late).output

    def test_a_pause_is_held_against_the_plan_in_force_on_its_day(self) -> None:
        pause = ("--fact", "paused:skin=2030-03-01", "--fact", "resumed=2030-03-09")
        assert plan(*pause, "--move", "sleep-to-five=2026-10-01").exit_code == 0
        for move in ((), ("--move", "sleep-to-five=2030-05-01")):  # not moved, or not yet
            refused = plan(*pause, *move)
            assert refused.exit_code == 2
            assert "paused on 2030-03-01, but bracing ended on 2030-01-10" in refused.output

    def test_a_pause_after_the_end_of_the_moved_plan_is_refused(self) -> None:
        words = ("--fact", "paused=2028-03-01", "--move", "trial-two-years=2026-10-01")
        assert "but bracing ended on 2028-01-10" in plan(*words).output
        assert plan(*words[:2]).exit_code == 0

    def test_a_decision_before_the_move_is_held_against_the_old_plan(self) -> None:
        refused = plan("--fact", "step-down=2026-03-01", "--move", "sleep-to-five=2026-10-01")
        assert "would leave no day of the phase it ends" in refused.output
        assert plan("--fact", "step-down=2026-10-02", "--move", "sleep-to-five=2026-10-01").exit_code == 0

    @pytest.mark.parametrize(
        ("move", "said"),
        [
            ("graded-step-down", "write the protocol and the day"),
            ("graded=2026-07-01", "no protocol 'graded'"),
            ("graded-step-down=1.7.2026", "write it as in 2026-03-14"),
            ("graded-step-down=2026-03-01", "is not after the brace start"),
        ],
    )
    def test_a_move_that_cannot_be_is_refused(self, move: str, said: str) -> None:
        done = plan("--move", move)
        assert done.exit_code == 2
        assert said in done.output


class TestWhatWasMeasured:
    def test_values_out_of_range_give_cautions_with_their_sources(self) -> None:
        answer = answer_to("--abduction-after", "55", "--dorsiflexion", "-5", "--sides", "left", "--bend", "20")
        # Sources: Khan 2017 (READ): corrected with at least 70 and 15 degrees; Gupta 2021 (READ): bend 10-15 degrees.
        assert {note["field"] for note in answer["notes"]} == {"abduction_last_cast", "dorsiflexion", "bend"}
        assert all(set(note) == {"field", "sentence", "source", "label"} for note in answer["notes"])
        assert any("Gupta S" in note["source"] and note["label"] == "READ" for note in answer["notes"])

    def test_values_in_range_give_none(self) -> None:
        words = ("--abduction-before", "60", "--abduction-after", "70", "--dorsiflexion", "20", "--bend", "12")
        turned = ("--sides", "right", "--rotation-affected", "65", "--rotation-unaffected", "40")
        assert answer_to(*words, *turned)["notes"] == []

    def test_each_kind_of_foot_has_its_own_range(self) -> None:
        # Source: Desai 2010, Table 2 (READ): shoes at 30-40 degrees for loose joints.
        assert "30–40°" in sentences(answer_to("--foot", "loose", "--rotation-affected", "65"))
        assert answer_to("--foot", "loose", "--rotation-affected", "35")["notes"] == []

    def test_the_text_says_which_foot_and_what_to_look_at_again(self) -> None:
        done = plan("--sides", "left", "--foot", "loose", "--rotation-affected", "65")
        assert "affected: left, loose joints" in done.output
        assert "Look again at" in done.output
        assert "[READ] Desai L" in done.output

    def test_a_protocol_of_research_says_so(self) -> None:
        (note,) = answer_to("--protocol", "trial-two-years")["notes"]
        assert "research, not routine" in note["sentence"]
        assert "NCT01551264" in note["source"]

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("--sides", "middle"), "use left, right or both"),
            (("--foot", "flat"), "use typical, atypical or loose"),
            (("--bend", "much"), "not a number of degrees"),
            (("--bend", "nan"), "give 0 to 45"),
            (("--abduction-after", "120"), "give 0 to 90"),
            (("--bend", "1e1"), "not a number of degrees: give 0 to 45"),
            (("--rotation-unaffected", "40"), "say with --sides left or right"),
        ],
    )
    def test_what_cannot_be_is_refused(self, words: tuple[str, ...], said: str) -> None:
        done = plan(*words)
        assert done.exit_code == 2
        assert said in done.output


class TestCalendarFile:
    def test_it_holds_every_visit_of_the_plan_on_its_day(self, tmp_path: Path) -> None:
        file = tmp_path / "plan.ics"
        answer = answer_to("--clinic-days", "tue", "--ics", str(file))
        events = icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")
        days = [event["DTSTART"].dt.isoformat() for event in events if str(event["SUMMARY"]).startswith("Clinic:")]
        assert days == [visit["on"] for visit in answer["visits"]]

    def test_until_holds_for_the_file_too(self, tmp_path: Path) -> None:
        file = tmp_path / "plan.ics"
        assert plan("--until", "2026-05-01", "--ics", str(file)).exit_code == 0
        assert len(icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")) == 2

    def test_what_an_early_end_drops_is_called_off_and_what_was_before_it_is_not(self, tmp_path: Path) -> None:
        # RFC 5545, 3.8.1.11: an event that is no longer held is CANCELLED.
        def states(name: str, *words: str) -> dict[str, tuple[str, date, bool]]:
            assert plan("--ics", str(tmp_path / name), *words).exit_code == 0
            found = icalendar.Calendar.from_ical((tmp_path / name).read_bytes()).walk("VEVENT")
            return {
                str(event["UID"]): (
                    str(event["SUMMARY"]),
                    event["DTSTART"].dt,
                    str(event.get("STATUS")) == "CANCELLED",
                )
                for event in found
            }

        before, ended = states("a.ics"), states("b.ics", "--fact", "ended:relapse=2026-05-05")
        assert set(before) <= set(ended)
        assert not any(off for _, _, off in before.values())
        end = date(2026, 5, 5)
        assert all(off == (first >= end) for _, first, off in ended.values())
        assert ("Brace: Nights and naps", date(2026, 6, 1), True) in ended.values()
        taken_back = states("c.ics", "--fact", "ended:agreed=2026-05-05", "--fact", "taken-back:ended=2026-05-06")
        assert {uid for uid, (_, _, off) in taken_back.items() if not off} == set(before)

    def test_what_a_move_drops_is_called_off(self, tmp_path: Path) -> None:
        file = tmp_path / "plan.ics"
        assert plan("--ics", str(file), "--move", "sleep-to-five=2026-05-01").exit_code == 0
        events = icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")
        off = {str(event["SUMMARY"]) for event in events if str(event.get("STATUS")) == "CANCELLED"}
        assert off == {"Brace: Nights and naps", "Clinic: After bracing: look for relapse"}

    def test_a_label_without_a_file_and_a_file_without_a_name_are_refused(self) -> None:
        assert "--label: say with --ics which file" in plan("--label", "A").output
        assert "cannot be written" in plan("--ics", "").output

    def test_a_label_tells_twins_apart(self, tmp_path: Path) -> None:
        def identifiers(name: str, *words: str) -> set[str]:
            assert plan("--ics", str(tmp_path / name), *words).exit_code == 0
            events = icalendar.Calendar.from_ical((tmp_path / name).read_bytes()).walk("VEVENT")
            return {str(event["UID"]) for event in events}

        one, other = identifiers("a.ics", "--label", "A"), identifiers("b.ics", "--label", "B")
        assert not one & other
        assert one == identifiers("again.ics", "--label", "A")

    def test_a_place_that_cannot_be_written_is_refused(self, tmp_path: Path) -> None:
        done = plan("--ics", str(tmp_path / "nowhere" / "plan.ics"))
        assert done.exit_code == 2
        assert "cannot be written" in done.output
        assert "Traceback" not in done.output

    def test_a_refused_plan_writes_no_file(self, tmp_path: Path) -> None:
        assert plan("--ics", str(tmp_path / "plan.ics"), "--fact", "resumed=2026-04-01").exit_code == 2
        assert list(tmp_path.iterdir()) == []


class TestEverythingWrongAtOnce:
    def test_everything_that_is_wrong_is_named_in_one_answer_with_exit_code_2(self) -> None:
        done = run(
            *("plan", "--born", "2026-02-30", "--brace-start", "1/3/2026", "--protocol", "nope"),
            *("--clinic-days", "tue,blueday", "--until", "later", "--fact", "eaten:all=2026-01-01", "--bend", "x"),
            *("--closed", "soon", "--sides", "up", "--foot", "big", "--country", "XX", "--region", "YY"),
        )
        assert done.exit_code == 2
        faulty = ("'2026-02-30'", "'1/3/2026'", "no protocol 'nope'", "'blueday'", "'later'")
        for said in (*faulty, "'eaten'", "'x'", "'soon'", "'up'", "'big'", "'XX'"):
            assert said in done.output
        assert "Traceback" not in done.output

    @pytest.mark.parametrize(
        ("born", "start", "said"),
        [
            ("2026-03-01", "2026-02-01", "before birth"),
            ("2026-03-01", "2036-02-01", "more than a year ahead"),
            ("2020-01-01", "2026-02-01", "Choose another protocol"),
            ("20260301", "2026-04-01", "write it as in 2026-03-14"),
            ("2026-W10-7", "2026-04-01", "write it as in 2026-03-14"),
        ],
    )
    def test_impossible_dates_are_refused(self, born: str, start: str, said: str) -> None:
        done = run("plan", "--born", born, "--brace-start", start)
        assert done.exit_code == 2
        assert said in done.output
