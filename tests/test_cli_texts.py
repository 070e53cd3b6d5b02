"""`segments` and `understand`, as somebody types them."""

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bracewatch.cli import main
from bracewatch.cli.reading_words import WHY
from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.messages.replies import languages, understand

CORPORA = sorted((Path(__file__).parent / "messages").glob("replies_*.toml"))


def run(*words: str) -> Result:
    return CliRunner().invoke(main, words)


def read(text: str, asked: str = "hours", language: str = "en") -> dict[str, object]:
    done = run("understand", text, "--language", language, "--asked", asked, "--json")
    assert done.exit_code == 0, done.output
    answer: dict[str, object] = json.loads(done.output)
    return answer


# --- segments -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "encoding", "units", "parts"),
    [
        # 3GPP TS 23.038 and TS 23.040, READ-2; the edge cases are worked out in tests/published. CALC
        ("a" * 160, "GSM-7", 160, 1),
        ("a" * 161, "GSM-7", 161, 2),
        ("a" * 152 + "€" + "a" * 152, "GSM-7", 306, 3),
        ("ж" * 70, "UCS-2", 70, 1),
        ("ж" * 66 + "😀" + "ж" * 66, "UCS-2", 134, 3),
        ("", "GSM-7", 0, 0),
        ("-3", "GSM-7", 2, 1),
    ],
)
def test_a_text_is_counted_as_it_is_billed(text: str, encoding: str, units: int, parts: int) -> None:
    done = run("segments", text, "--json")
    assert json.loads(done.output) == {"encoding": encoding, "units": units, "parts": parts}
    assert f"{encoding}, {units} " in run("segments", text).output


def test_parts_are_told_in_words() -> None:
    assert run("segments", "hello").output == "GSM-7, 5 septets, 1 part\n"
    assert run("segments", "ж" * 71).output == "UCS-2, 71 UTF-16 units, 2 parts\n"


def test_half_a_character_is_refused_with_what_to_do() -> None:
    done = run("segments", "a\ud800")
    assert done.exit_code == 2
    assert "write the text again without that character" in done.output


# --- understand ---------------------------------------------------------------------------------------------


def test_one_number_is_a_number_a_range_has_two_and_none_is_null() -> None:
    assert read("22")["value"] == 22
    assert read("22.5")["value"] == 22.5
    assert read("12-14")["value"] == [12, 14]
    assert read("call me")["value"] is None


def test_a_reply_is_read_in_its_language_and_in_the_light_of_the_question() -> None:
    assert read("ishirini na mbili", "hours", "sw")["value"] == 22
    assert read("yes", "coming")["meaning"] == "coming"
    assert read("yes", "hours")["meaning"] == "unread"
    assert read("7", "nights")["meaning"] == "nights"


def test_trouble_says_about_what_and_is_for_a_person() -> None:
    answer = read("20 but her heel is red")
    assert (answer["meaning"], answer["about"], answer["value"], answer["next"]) == ("trouble", "skin", 20, "to_staff")


def test_a_reply_that_begins_with_a_dash_is_a_reply() -> None:
    assert read("-3")["meaning"] == "unread"


@pytest.mark.parametrize("corpus", CORPORA, ids=lambda path: path.stem)
def test_every_reading_is_within_what_is_promised_and_has_a_reason(corpus: Path) -> None:
    for row in tomllib.loads(corpus.read_text(encoding="utf-8"))["reply"]:
        reading = understand(row["text"], language=corpus.stem.removeprefix("replies_"), asked=Asked(row["asked"]))
        assert reading.meaning in set(Meaning)
        assert reading.next in set(Next)
        assert 0 <= reading.confidence <= 1
        assert reading.rule in WHY, row


def test_the_reason_is_told_in_words() -> None:
    done = run("understand", "about 20 hours", "--language", "en", "--asked", "hours")
    assert "Read as     hours, 20" in done.output
    assert f"Why         {WHY['hours.said']} [hours.said]" in done.output
    assert "Next        kept as it was read" in done.output
    ranged = run("understand", "12-14", "--language", "en", "--asked", "hours")
    assert "Read as     hours, 12 to 14" in ranged.output
    trouble = run("understand", "her heel is red", "--language", "en", "--asked", "nothing")
    assert "Read as     trouble: skin\n" in trouble.output


def test_an_unknown_language_and_an_unknown_question_are_named_together() -> None:
    done = run("understand", "20", "--language", "xx", "--asked", "yesterday")
    assert done.exit_code == 2
    assert "--language: 'xx': use" in done.output
    assert all(code in done.output for code in languages())
    assert "--asked: 'yesterday': use hours, nights, coming or nothing" in done.output
    assert "Traceback" not in done.output


@pytest.mark.parametrize("missing", ["--language", "--asked"])
def test_what_is_missing_is_named(missing: str) -> None:
    words = {"--language": "en", "--asked": "hours"}
    del words[missing]
    done = run("understand", "20", *(word for pair in words.items() for word in pair))
    assert done.exit_code == 2
    assert missing in done.output
