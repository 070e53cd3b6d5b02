"""A clinic's own protocol files in the command `plan`."""

import json
from importlib import resources
from pathlib import Path

from click.testing import CliRunner, Result

from bracewatch.cli import main

PLAN = ("plan", "--born", "2026-01-10", "--brace-start", "2026-03-01")


def run(*words: str, folder: str = "") -> Result:
    return CliRunner(env={"BRACEWATCH_PROTOCOLS": folder}).invoke(main, words)


def shipped_text(protocol_id: str) -> str:
    return (resources.files("bracewatch.schedule") / "protocols" / f"{protocol_id}.toml").read_text("utf-8")


def test_a_protocol_may_be_a_file_of_ones_own(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    text = shipped_text("nights-to-four")
    file.write_text(text.replace('id = "nights-to-four"', 'id = "ours"').replace("[23, 23]", "[22, 23]"), "utf-8")
    answer = json.loads(run(*PLAN, "--protocol", str(file), "--json").stdout)
    assert answer["protocol"]["id"] == "ours"
    assert answer["phases"][0]["hours_low"] == 22


def test_a_folder_of_ones_own_is_searched_by_option_and_by_environment(tmp_path: Path) -> None:
    text = shipped_text("nights-to-four").replace('id = "nights-to-four"', 'id = "ours"')
    (tmp_path / "ours.toml").write_text(text, "utf-8")
    words = (*PLAN, "--protocol", "ours", "--json")
    by_option, by_environment = run(*words, "--protocols", str(tmp_path)), run(*words, folder=str(tmp_path))
    assert json.loads(by_option.stdout)["protocol"]["id"] == "ours"
    assert by_environment.stdout == by_option.stdout
    assert run(*words).exit_code == 2


def test_a_file_with_faults_in_six_places_has_all_of_them_named(tmp_path: Path) -> None:
    text = shipped_text("nights-to-four")
    for right, wrong in [
        ("version = 1", "version = 0"),
        ("[23, 23]", "[23, 25]"),
        ('lasts = "P3M"', 'lasts = "soon"'),
        ('gate = "step-down"', 'gate = "nobody"'),
        ("low_wear_share = 0.7", "low_wear_share = 7"),
    ]:
        text = text.replace(right, wrong, 1)
    file = tmp_path / "ours.toml"
    file.write_text(text, "utf-8")
    done = run(*PLAN, "--protocol", str(file))
    assert done.exit_code == 2
    assert "6 faults" in done.output
    assert all(place in done.output for place in ("version", "hours.1", "lasts", "gate", "decides", "low_wear_share"))


def test_a_file_or_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    done = run(*PLAN, "--protocol", str(tmp_path / "none.toml"))
    assert done.exit_code == 2
    assert "there is no file" in done.output
    done = run(*PLAN, "--protocols", str(tmp_path / "none"))
    assert done.exit_code == 2
    assert "there is no such folder" in done.output


def changed(folder: Path, *changes: tuple[str, str]) -> Path:
    text = shipped_text("nights-to-four")
    for right, wrong in (('id = "nights-to-four"', 'id = "ours"'), *changes):
        assert right in text
        text = text.replace(right, wrong, 1)
    file = folder / "ours.toml"
    file.write_text(text, "utf-8")
    return file


def test_faults_that_only_show_in_use_are_named_before_anything_is_planned(tmp_path: Path) -> None:
    file = changed(tmp_path, ('after = "P3M"', 'after = "P2Y"'))
    for words in (("--protocol", str(file)), ("--protocols", str(tmp_path)), ("--move", f"{file}=2027-01-01")):
        done = run(*PLAN, *words)
        assert done.exit_code == 2
        assert "variant.0.visit.1: decides 'step-down', but its window does not hold the day" in done.output
    assert run(*PLAN).exit_code == 0


def test_a_clinics_own_settings_are_what_the_brace_is_held_against(tmp_path: Path) -> None:
    file = changed(tmp_path, ("[60, 70]", "[40, 50]"), ('["gupta-2021", "leaflets"]', '["clinic"]'))
    words = (*PLAN, "--sides", "left", "--json", "--rotation-affected")
    assert json.loads(run(*words, "45", "--protocol", str(file)).stdout)["notes"] == []
    (note,) = json.loads(run(*words, "65", "--protocol", str(file)).stdout)["notes"]
    assert "40–50°" in note["sentence"]
    assert (note["label"], "Common practice, no source" in note["source"]) == ("PRACTICE", True)
    assert json.loads(run(*words, "65").stdout)["notes"] == []


def test_after_a_move_the_settings_are_those_of_the_protocol_moved_to(tmp_path: Path) -> None:
    file = changed(tmp_path, ("[60, 70]", "[40, 50]"))
    words = (*PLAN, "--sides", "left", "--json", "--rotation-affected", "45")
    assert json.loads(run(*words, "--move", f"{file}=2026-05-01").stdout)["notes"] == []
    assert len(json.loads(run(*words).stdout)["notes"]) == 1


def test_a_decision_that_leaves_no_day_of_bracing_at_all_is_refused(tmp_path: Path) -> None:
    text = shipped_text("nights-to-four").replace('id = "nights-to-four"', 'id = "ours"')
    begin, end = text.index('[[variant.phase]]\nkey = "nights-and-naps"'), text.index("[[variant.visit]]")
    (tmp_path / "ours.toml").write_text(text[:begin] + text[end:], "utf-8")
    words = (*PLAN, "--protocol", str(tmp_path / "ours.toml"), "--fact")
    refused = run(*words, "step-down=2026-03-01")
    assert refused.exit_code == 2
    assert "leaves no day of bracing" in refused.output
    assert run(*words, "step-down=2026-03-02").exit_code == 0
