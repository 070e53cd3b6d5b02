"""What the reader of the practice programme refuses, and in which words."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracewatch.demo import families
from bracewatch.demo.families import Programme, ProgrammeFileError, load, parse, shipped

HABIT: dict[str, Any] = {
    "answers": 0.9,
    "delay_hours": [0.5, 3],
    "hours": [22, 23],
    "nights": [6, 7],
    "keeps_visits": 1,
    "late_days": [0, 2],
    "comes_after_follow_up": 0.5,
}


def family(number: int, **changed: Any) -> dict[str, Any]:
    return {
        "key": f"f{number}",
        "clinic": "hill",
        "child": {"name": "Amani", "born": -130},
        "caregiver": {
            "name": "Zawadi (mother)",
            "phone": f"+4420794600{number:02d}",
            "language": "sw",
            "contact_time": "18:00",
        },
        "sides": "both",
        "foot": "typical",
        "abduction_before_release": 50,
        "abduction_last_cast": 70,
        "dorsiflexion": None,
        "foot_mm": 80,
        "protocol": "nights-to-four",
        "brace_start": -80,
        "joined": -80,
        "behaves": [{"from": -80, "as": "steady"}, {"from": -12, "as": "chatty"}],
        "says": [{"day": -2, "at": "19:10", "text": "naomba mnipigie simu"}],
        **changed,
    }


def programme() -> dict[str, Any]:
    return {
        "about": "invented",
        "opened": -270,
        "clinics": [
            {
                "key": "hill",
                "name": "Hill",
                "country": "KE",
                "time_zone": "Africa/Nairobi",
                "clinic_days": "tue,fri",
                "weekend": "sat,sun",
                "phone": "+441134960001",
                "closed": [{"day": 8, "to": 13, "reason": "holiday"}],
            }
        ],
        "behaviours": {"steady": HABIT, "chatty": {**HABIT, "words": True}},
        "phrases": {"sw": {"hours": ["saa {n}"], "nights": ["usiku {n}"], "nights_spelt": {"7": ["kila usiku"]}}},
        "families": [family(1), family(2, relapse={"day": -60, "brace_start": -25})],
    }


def put(raw: dict[str, Any], path: str, value: object) -> dict[str, Any]:
    """The programme with another value at a path such as "families.1.caregiver.phone"."""
    changed = copy.deepcopy(raw)
    *way, last = path.split(".")
    place: Any = changed
    for step in way:
        place = place[int(step) if isinstance(place, list) else step]
    place[int(last) if isinstance(place, list) else last] = value
    return changed


def faults_of(raw: object) -> tuple[str, ...]:
    try:
        parse(json.dumps(raw), "practice.json")
    except ProgrammeFileError as error:
        return error.faults
    return ()


def test_a_sound_file_is_read() -> None:
    read = parse(json.dumps(programme()), "practice.json")
    assert isinstance(read, Programme)
    assert read.families[1].behaves[1].behaviour == "chatty"
    assert dict.fromkeys(range(8, 14), "holiday") == read.clinics[0].closed_days


def test_a_closure_without_an_end_is_one_day_long() -> None:
    raw = put(programme(), "clinics.0.closed", [{"day": 3, "reason": "road closed"}])
    assert parse(json.dumps(raw), "practice.json").clinics[0].closed_days == {3: "road closed"}


# Path, a value that is refused, the fault, and the nearest value that is not.
REFUSED = [
    ("families.1.clinic", "lake", "families.1.clinic: there is no clinic 'lake' in this file; it has hill", "hill"),
    (
        "families.1.behaves.0.as",
        "calm",
        "families.1.behaves.0.as: there is no behaviour 'calm' in this file; it has chatty, steady",
        "chatty",
    ),
    (
        "families.1.caregiver.language",
        "hi",
        "families.1.behaves.1.as: 'chatty' answers in words, and 'phrases' has none in 'hi'",
        "sw",
    ),
    ("families.1.key", "f1", "families.1.key: 'f1' stands at families.0.key already: each needs its own", "f3"),
    (
        "families.1.caregiver.phone",
        "+442079460001",
        "families.1.caregiver.phone: '+442079460001' stands at families.0.caregiver.phone already: each needs its own",
        "+442079460999",
    ),
    (
        "families.1.caregiver.phone",
        "+447700901000",
        "families.1.caregiver.phone: '+447700901000' might be somebody's: "
        "use +442079460000 to +442079460999, kept free for drama",
        "+442079460000",
    ),
    (
        "clinics.0.phone",
        "+441632961000",
        "clinics.0.phone: '+441632961000' might be somebody's: use +441134960000 to +441134960999, kept free for drama",
        "+441134960999",
    ),
    ("families.0.joined", -81, "families.0.joined: -81 is before brace_start (-80)", -80),
    ("opened", -79, "families.0.joined: -80 is before opened (-79)", -80),
    ("families.0.brace_start", -131, "families.0.brace_start: -131 is before child.born (-130)", -130),
    ("families.1.relapse.day", -81, "families.1.relapse.day: -81 is before brace_start (-80)", -80),
    ("families.1.relapse.day", -24, "families.1.relapse.brace_start: -25 is before relapse.day (-24)", -25),
    ("families.0.says.0.day", -81, "families.0.says.0.day: -81 is before joined (-80)", -80),
    (
        "families.0.behaves.1.from",
        -80,
        "families.0.behaves.1.from: -80 does not come after the spell before it (-80)",
        -79,
    ),
    (
        "families.0.behaves.0.from",
        -79,
        "families.0.behaves.0.from: -79 is after joined (-80): say how the family behaves from its first day",
        -80,
    ),
    (
        "families.0.child.born",
        -1449,  # the brace starts at 1369 days of age; three years and nine months are 1369 to 1372 days. CALC
        "families.0.brace_start: nights-to-four has no course for a child corrected 1369 days after birth",
        -1448,
    ),
    (
        "families.0.caregiver.contact_time",
        "21:00",
        "families.0.caregiver.contact_time: '21:00' is in the quiet hours: choose 08:00 to 20:59",
        "20:59",
    ),
    (
        "families.0.says.0.at",
        "07:59",
        "families.0.says.0.at: '07:59' is in the quiet hours: choose 08:00 to 20:59",
        "08:00",
    ),
    (
        "families.0.says.0.at",
        "8:00",
        "families.0.says.0.at: '8:00' is not a time of day: write it as in 18:00",
        "08:00",
    ),
    (
        "clinics.0.clinic_days",
        "fri,sat",
        "clinics.0.clinic_days: sat is in the weekend of this clinic (sat,sun)",
        "fri",
    ),
    ("clinics.0.closed.0.to", 7, "clinics.0.closed.0.to: 7 is before the first closed day (8)", 8),
    (
        "behaviours.steady.hours",
        [23, 22],
        "behaviours.steady.hours: write the lower first, not 23 before 22",
        [22, 22],
    ),
    (
        "behaviours.steady.answers",
        1.1,
        "behaviours.steady.answers: Input should be less than or equal to 1 (given: 1.1)",
        1,
    ),
    (
        "phrases.sw.hours.0",
        "saa",
        "phrases.sw.hours.0: 'saa' needs {n} once, where the number goes, and no other braces",
        "{n} saa",
    ),
    (
        "phrases.sw.nights_spelt",
        {"8": ["usiku nane"]},
        "phrases.sw.nights_spelt.8: Input should be less than or equal to 7 (given: '8')",
        {"2": ["usiku mbili"]},
    ),
    ("clinics.0.time_zone", "Nairobi", "'Nairobi' is not a time zone", "Africa/Nairobi"),
    ("families.0.protocol", "nights-to-nine", "no protocol 'nights-to-nine'", "graded-step-down"),
]


@pytest.mark.parametrize(("path", "refused", "fault", "allowed"), REFUSED)
def test_each_mistake_is_reported_with_its_place(path: str, refused: object, fault: str, allowed: object) -> None:
    faults = faults_of(put(programme(), path, refused))
    assert any(fault in reported for reported in faults), faults


@pytest.mark.parametrize(("path", "refused", "fault", "allowed"), REFUSED)
def test_what_is_just_right_passes(path: str, refused: object, fault: str, allowed: object) -> None:
    assert faults_of(put(programme(), path, allowed)) == ()


def test_phrases_in_a_language_that_is_not_shipped_are_refused() -> None:
    raw = put(programme(), "phrases.xx", {"hours": ["{n}"], "nights": ["{n}"]})
    (fault,) = faults_of(raw)
    assert fault.startswith("phrases.xx: no texts in language 'xx': shipped are ")


def test_a_relapse_that_the_program_could_not_have_recorded_is_refused() -> None:
    raw = put(programme(), "families.1.joined", -59)
    assert faults_of(put(raw, "families.1.says", [])) == ("families.1.relapse.day: -60 is before joined (-59)",)


def test_a_clinic_and_a_caregiver_never_share_a_number() -> None:
    raw = put(programme(), "clinics.0.phone", "+442079460001")
    assert any("stands at clinics.0.phone already" in fault for fault in faults_of(raw))


def test_five_faults_in_fields_and_between_them_are_all_reported_at_once() -> None:
    raw = programme()
    for path, value in [
        ("families.1.caregiver.phone", "+254712345678"),
        ("families.0.clinic", "lake"),
        ("families.0.says.0.day", -81),
        ("behaviours.steady.nights", [7, 8]),
        ("clinics.0.closed.0.to", 2),
    ]:
        raw = put(raw, path, value)
    with pytest.raises(ProgrammeFileError, match=r"practice\.json: 5 faults") as refused:
        parse(json.dumps(raw), "practice.json")
    places = {fault.split(": ")[0] for fault in refused.value.faults}
    assert places == {
        "families.1.caregiver.phone",
        "families.0.clinic",
        "families.0.says.0.day",
        "behaviours.steady.nights.1",
        "clinics.0.closed.0.to",
    }
    assert all(fault in str(refused.value) for fault in refused.value.faults)


@pytest.mark.parametrize(("path", "value"), [("opened", "-270"), ("opened", -270.0), ("opened", True)])
def test_a_number_in_another_form_is_not_guessed_at(path: str, value: object) -> None:
    assert len(faults_of(put(programme(), path, value))) == 1


def test_an_unknown_field_and_a_missing_one_are_both_named() -> None:
    raw = put(programme(), "families.0.nickname", "A")
    del raw["families"][0]["foot"]
    assert {fault.split(":")[0] for fault in faults_of(raw)} == {"families.0.nickname", "families.0.foot"}


def test_broken_json_is_reported_with_line_and_column() -> None:
    with pytest.raises(ProgrammeFileError) as refused:
        parse('{\n "about": "x",\n "opened": -270,,\n}', "practice.json")
    (fault,) = refused.value.faults
    assert fault.startswith("line 3, column 17: not valid JSON: ")


def test_a_name_that_stands_twice_in_one_object_is_reported() -> None:
    text = json.dumps(programme()).replace('"opened": -270', '"opened": -270, "opened": -271')
    with pytest.raises(ProgrammeFileError) as refused:
        parse(text, "practice.json")
    assert refused.value.faults == ("'opened' stands twice in one object: keep one",)


@pytest.mark.parametrize("text", ["[]", "null", "3", '"about"', "{}", "[" * 100_000, "9" * 5_000])
def test_json_that_is_no_programme_is_refused_in_words(text: str) -> None:
    with pytest.raises(ProgrammeFileError) as refused:
        parse(text, "practice.json")
    assert refused.value.faults


def test_a_file_in_another_encoding_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "practice.json"
    path.write_bytes(json.dumps(programme()).encode("utf-16"))
    with pytest.raises(ProgrammeFileError, match="save the file as UTF-8"):
        load(path)


def test_a_file_that_is_not_there_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        load(tmp_path / "practice.json")


@pytest.mark.parametrize("place", ["bracewatch/_shipped", "."])
def test_the_file_is_found_inside_an_installed_package_and_beside_a_working_copy(tmp_path: Path, place: str) -> None:
    package = tmp_path / "bracewatch"
    file = tmp_path / place / "demo_families.json"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(json.dumps(programme()), encoding="utf-8")
    assert load(families.find(package)).about == "invented"


def test_a_file_that_is_gone_is_reported_with_both_places(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"_shipped.* nor .*install Bracewatch again"):
        families.find(tmp_path / "bracewatch")


def test_what_was_read_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="frozen"):
        shipped().families[0].key = "f99"  # type: ignore[misc]


def paths(value: object, path: str = "") -> list[str]:
    inside: list[tuple[object, object]] = []
    if isinstance(value, dict):
        inside = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    here = [path] if path else []
    return here + [way for step, part in inside for way in paths(part, f"{path}.{step}" if path else str(step))]


any_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda parts: st.lists(parts, max_size=3) | st.dictionaries(st.text(), parts, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(paths(programme())), any_json)
@settings(max_examples=300, deadline=None)
def test_whatever_stands_in_any_place_is_read_or_refused(path: str, value: object) -> None:
    faults = faults_of(put(programme(), path, value))
    assert len(set(faults)) == len(faults)
