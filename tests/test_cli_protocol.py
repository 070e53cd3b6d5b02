"""The commands about protocols, as somebody types them."""

from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bracewatch.cli import main
from bracewatch.schedule.protocol import shipped, shipped_ids


def run(*words: str) -> Result:
    return CliRunner(env={"BRACEWATCH_PROTOCOLS": ""}).invoke(main, ("protocol", *words))


def shipped_file(protocol_id: str) -> Path:
    return Path(str(resources.files("bracewatch.schedule") / "protocols" / f"{protocol_id}.toml"))


def own(folder: Path, *changes: tuple[str, str], name: str = "ours.toml") -> Path:
    """A file like the shipped one, with an identifier of its own and these changes."""
    text = shipped_file("nights-to-four").read_text("utf-8")
    for right, wrong in (('id = "nights-to-four"', 'id = "ours"'), *changes):
        assert right in text
        text = text.replace(right, wrong, 1)
    file = folder / name
    file.write_text(text, "utf-8")
    return file


class TestCheck:
    @pytest.mark.parametrize("protocol_id", shipped_ids())
    def test_shipped_files_have_no_faults(self, protocol_id: str) -> None:
        done = run("check", str(shipped_file(protocol_id)))
        assert (done.exit_code, done.output) == (0, f"{protocol_id}.toml: no faults\n")

    def test_every_fault_is_named_with_its_place_and_what_is_allowed(self, tmp_path: Path) -> None:
        file = own(
            tmp_path,
            ("version = 1", 'version = 1\ncolour = "blue"'),
            ("hours = [23, 23]", "hours = [23, 25]"),
            ('lasts = "P3M"', 'lasts = "-P3M"'),
            ('key = "nights-and-naps"', 'key = "Nights"'),
            ('asks = "nights"', 'asks = "weeks"'),
            ("[contact]", "[contact]\nby_letter = true"),
            ('name = "Follow-up"\n', ""),
        )
        done = run("check", str(file))
        assert done.exit_code == 2
        assert "ours.toml: 7 faults" in done.output
        for said in (
            "colour: there is no such entry here; there are id, version, name",
            "variant.0.phase.0.hours.1: Input should be less than or equal to 24",
            "variant.0.phase.0.lasts: '-P3M' is not a duration",
            "variant.0.phase.1.key: use small letters",
            "variant.0.phase.1.asks: Input should be 'hours' or 'nights'",
            "contact.by_letter: there is no such entry here; there are first_check_in, visit_reminders",
            "variant.0.visit.2.name: must be given",
        ):
            assert said in done.output
        assert "Traceback" not in done.output

    def test_faults_that_only_show_in_use_are_found(self, tmp_path: Path) -> None:
        file = own(tmp_path, ('until_age = "P4Y"\nasks', 'until_age = "P2M"\nasks'))
        done = run("check", str(file))
        assert done.exit_code == 2
        assert "variant.0.phase.1: no child gets a day of 'nights-and-naps'" in done.output

    def test_faults_in_use_stand_beside_those_of_a_file_that_can_be_read(self, tmp_path: Path) -> None:
        changes = (('after = "P3M"', 'after = "P2Y"'), ('foot = "loose"', 'foot = "typical"'))
        done = run("check", str(own(tmp_path, *changes, ('id = "ours"', 'id = "sleep-to-five"'))))
        assert "ours.toml: 3 faults" in done.output
        for said in (
            "id: 'sleep-to-five' comes with the program",
            "settings.1.foot: 'typical' stands here twice",
            "variant.0.visit.1: decides 'step-down', but its window does not hold",
        ):
            assert said in done.output

    def test_a_decision_that_ends_two_phases_is_one_fault(self, tmp_path: Path) -> None:
        file = own(tmp_path, ('until_age = "P4Y"\nasks', 'until_age = "P4Y"\ngate = "step-down"\nasks'))
        done = run("check", str(file))
        assert "1 fault\n  variant.0.phase.1.gate: 'step-down' stands here twice" in done.output

    def test_an_identifier_that_comes_with_the_program_is_a_fault(self, tmp_path: Path) -> None:
        file = own(tmp_path, ('id = "ours"', 'id = "sleep-to-five"'))
        done = run("check", str(file))
        assert done.exit_code == 2
        assert "id: 'sleep-to-five' comes with the program" in done.output

    def test_a_sound_file_of_ones_own_has_no_faults(self, tmp_path: Path) -> None:
        assert run("check", str(own(tmp_path))).exit_code == 0

    def test_a_file_that_is_missing_or_is_no_text_is_refused(self, tmp_path: Path) -> None:
        done = run("check", str(tmp_path / "none.toml"))
        assert (done.exit_code, "there is no file" in done.output) == (2, True)
        (tmp_path / "picture.toml").write_bytes(b"\x89PNG\xff\x00")
        done = run("check", str(tmp_path / "picture.toml"))
        assert (done.exit_code, "not UTF-8 text" in done.output) == (2, True)
        done = run("check", str(tmp_path))
        assert (done.exit_code, "cannot be read" in done.output) == (2, True)


class TestList:
    def test_the_shipped_ones_are_listed_and_research_says_so(self) -> None:
        lines = run("list").output.splitlines()
        assert [line.split()[0] for line in lines] == list(shipped_ids())
        assert ["research, not routine" in line for line in lines] == [
            shipped(protocol_id).status != "routine" for protocol_id in shipped_ids()
        ]

    def test_a_clinics_own_are_listed_after_them(self, tmp_path: Path) -> None:
        own(tmp_path)
        last = run("list", "--protocols", str(tmp_path)).output.splitlines()[-1]
        assert last.startswith("ours ")
        assert "the clinic's own" in last

    def test_all_faulty_files_of_a_folder_are_named_at_once(self, tmp_path: Path) -> None:
        own(tmp_path, ("version = 1", "version = 0"), name="one.toml")
        own(tmp_path, ("[23, 23]", "[23, 25]"), name="two.toml")
        done = run("list", "--protocols", str(tmp_path))
        assert done.exit_code == 2
        assert "one.toml: version" in done.output
        assert "two.toml: variant.0.phase.0.hours.1" in done.output

    def test_faults_that_only_show_in_use_are_named(self, tmp_path: Path) -> None:
        own(tmp_path, ('after = "P3M"', 'after = "P2Y"'))
        done = run("list", "--protocols", str(tmp_path))
        assert done.exit_code == 2
        assert "ours.toml: variant.0.visit.1: decides 'step-down'" in done.output


class TestShow:
    def test_it_says_what_a_person_needs_to_know(self) -> None:
        done = run("show", "graded-step-down")
        assert done.exit_code == 0
        for said in (
            "Gradual step-down by age at correction (graded-step-down, version 1)",
            "Status: routine. Three months here means calendar months.",
            "Age at correction: from 9 months, under 2 years",
            "23 hours a day for 3 months; goes on until the clinic",
            "12 to 14 hours a day until 4 years of age",
            "14 days after the brace start;",
            "Reminders: 3 days and 1 day before a visit",
            "under 70% of the hours",
            "No answer: after 2 questions in a row",
            "loose: affected foot turned out 30 to 40",
            "[READ] desai-2010: Desai L",
        ):
            assert said in done.output
        assert all(len(line) <= 80 for line in done.output.splitlines())

    @pytest.mark.parametrize("protocol_id", shipped_ids())
    def test_each_phase_and_visit_is_shown_with_its_sources(self, protocol_id: str) -> None:
        shown = " ".join(run("show", protocol_id).output.split())
        for variant in shipped(protocol_id).variant:
            for part in (*variant.phase, *variant.visit):
                assert f"({part.key})" in shown
                assert f"[{', '.join(part.source)}]" in shown

    def test_visits_that_hang_on_the_end_of_bracing_say_so(self, tmp_path: Path) -> None:
        shown = " ".join(run("show", "nights-to-four").output.split())
        assert "(end-of-bracing): at the end of bracing; counts" in shown
        assert "(every-six-months): every 6 months until the end of bracing; counts" in shown
        assert "(after-bracing): every 1 year from the end of bracing until 16 years of age; counts" in shown
        assert "(every-four-months): every 4 months until 3 years of age; counts" in shown
        other = own(tmp_path, ("until_end = true", 'from_age = "P3Y"\nuntil = "P4Y"'))
        shown = " ".join(run("show", str(other)).output.split())
        assert "every 6 months from 3 years of age until 4 years after the brace start; counts" in shown

    def test_research_says_so(self) -> None:
        assert "Status: research, not routine" in run("show", "trial-two-years").output
        assert "Three months here means 84 days" in run("show", "sleep-to-five").output

    def test_a_file_can_be_shown_and_an_unknown_name_is_refused(self, tmp_path: Path) -> None:
        assert "(ours, version 1)" in run("show", str(own(tmp_path))).output
        done = run("show", "nope")
        assert done.exit_code == 2
        assert "no protocol 'nope': there are" in done.output


class TestCompare:
    def test_phases_visits_and_the_end_stand_side_by_side(self) -> None:
        done = run("compare", "nights-to-four", "sleep-to-five")
        assert done.exit_code == 0
        # Twelve weeks from 1 September 2026 are 84 days: 24 November; three calendar months: 1 December. CALC
        assert "~ Full time                        23 h to 2026-12-01     23 h to 2026-11-24" in done.output
        assert "- Nights and naps                  12-14 h to 2030-07-01" in done.output
        assert "Bracing ends 2030-07-01 in A and 2031-07-01 in B, 365 days later." in done.output
        assert "three_months: calendar months in A, 84 days in B" in done.output
        assert "an example" in done.output

    def test_a_protocol_beside_itself_differs_in_nothing(self) -> None:
        assert "Nothing differs." in run("compare", "nights-to-four", "nights-to-four").output

    def test_a_new_version_that_only_tells_staff_earlier_shows_that(self, tmp_path: Path) -> None:
        file = own(tmp_path, ("version = 1", "version = 2"), ("low_wear_share = 0.7", "low_wear_share = 0.8"))
        done = run("compare", "nights-to-four", str(file))
        assert "~ thresholds.low_wear_share: 0.7 in A, 0.8 in B" in done.output
        assert "~ Full time" not in done.output

    def test_a_wider_window_and_another_rhythm_are_named(self, tmp_path: Path) -> None:
        file = own(tmp_path, ('closes = "P7D"', 'closes = "P9D"'), ('check_in = "P7D"', 'check_in = "P10D"'))
        done = run("compare", "nights-to-four", str(file))
        assert "differs: window" in done.output
        assert "differs: how often families are asked" in done.output

    def test_the_child_can_be_given(self) -> None:
        child = ("--born", "2025-01-10", "--brace-start", "2026-03-01")
        done = run("compare", "nights-to-four", "graded-step-down", *child)
        assert "born 2025-01-10, in the brace from 2026-03-01" in done.output
        assert "an example" not in done.output
        assert "Most of the day" in done.output  # corrected at 13 months: the second row of the table

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("nope", "nights-to-four"), "no protocol 'nope'"),
            (("nights-to-four", "sleep-to-five", "--born", "2026-01-10"), "give both"),
            (("nights-to-four", "sleep-to-five", "--foot", "flat"), "use typical"),
            (
                ("nights-to-four", "sleep-to-five", "--born", "2020-01-10", "--brace-start", "2026-01-10"),
                "protocol sleep-to-five has no course",
            ),
            (
                ("nights-to-four", "sleep-to-five", "--born", "2026-01-10", "--brace-start", "2025-01-10"),
                "before birth",
            ),
        ],
    )
    def test_what_cannot_be_compared_is_refused(self, words: tuple[str, ...], said: str) -> None:
        done = run("compare", *words)
        assert done.exit_code == 2
        assert said in done.output
        assert "Traceback" not in done.output
