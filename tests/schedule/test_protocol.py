from datetime import date
from importlib import resources
from pathlib import Path

import pytest

from bracewatch.schedule import protocol
from bracewatch.schedule.protocol import ProtocolError


def shipped_text(protocol_id: str) -> str:
    return (resources.files("bracewatch.schedule") / "protocols" / f"{protocol_id}.toml").read_text(encoding="utf-8")


def test_two_published_protocols_ship() -> None:
    assert {"nights-to-four", "graded-step-down"} <= set(protocol.shipped_ids())


def test_an_unknown_protocol_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match=r"nope.*graded-step-down, nights-to-four"):
        protocol.shipped("nope")


def test_five_faults_in_one_file_are_all_named_with_their_places(tmp_path: Path) -> None:
    text = shipped_text("nights-to-four")
    for right, wrong in [
        ('id = "nights-to-four"', 'id = "Nights To Four"'),
        ("hours = [23, 23]", "hours = [23, 25]"),
        ('lasts = "P3M"', 'lasts = "3 months"'),
        ('after = "P14D"', 'after = "P14D"\nevery = "P1M"\nuntil = "P1Y"'),
        ('source = ["gupta-2021", "desai-2010"]', 'source = ["nobody-1999"]'),
    ]:
        assert right in text
        text = text.replace(right, wrong, 1)
    file = tmp_path / "broken.toml"
    file.write_text(text, encoding="utf-8")

    with pytest.raises(ProtocolError) as caught:
        protocol.load(file)

    assert "broken.toml: 5 faults" in str(caught.value)
    places = [fault.split(":")[0] for fault in caught.value.faults]
    assert sorted(places) == [
        "id",
        "variant.0.phase.0.hours.1",
        "variant.0.phase.0.lasts",
        "variant.0.phase.0.source",
        "variant.0.visit.0",
    ]


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("hours = [12, 14]", "hours = [14, 12]", "low to high"),
        ('gate = "step-down"', 'gate = "somebody-says-so"', "decided at no visit"),
        ('key = "nights-and-naps"', 'key = "full-time"', "stands here twice"),
        ('until_age = "P4Y"\nasks', 'until_age = "P4Y"\nlasts = "P1M"\nasks', "either 'lasts' or 'until_age'"),
        ('check_in = "P7D"', 'check_in = "P1M"', "days or weeks"),
        ("low_wear_share = 0.7", "low_wear_share = 70", "thresholds.low_wear_share"),
        ("version = 1", 'version = 1\ncolour = "blue"', "colour"),
        ('first_check_in = "P2D"', "first_check_in = 2", "contact.first_check_in"),
        ("at_end = true", "at_end = false", "at_end"),
        ("at_end = true", 'at_end = true\nat_age = "P4Y"', "exactly one of"),
        ("until_end = true", 'until_end = true\nuntil_age = "P4Y"', "'every' needs"),
        ("from_end = true\nuntil_age", "from_end = true\nuntil_end = true\n#", "a row begins at"),
        ("at_end = true", "at_end = true\nfrom_end = true", "'from_end' belongs to a row"),
        ("bend = [10, 15]", "bend = [15, 10]", r"settings.0.bend: a range goes from low to high, not 15 to 10"),
        ('foot = "loose"', 'foot = "typical"', "settings.1.foot: 'typical' stands here twice"),
        (
            'until_age = "P4Y"\nasks',
            'until_age = "P4Y"\ngate = "step-down"\nasks',
            "variant.0.phase.1.gate: 'step-down' stands here twice",
        ),
        (
            'after = "P14D"',
            'after = "P14D"\ndecides = "stepdown"',
            "variant.0.visit.0.decides: no phase of this variant has the gate 'stepdown'; there are step-down",
        ),
        (
            'opens = "P4D"',
            'opens = "P1Y"',
            "variant.0.visit.0: its window, P1Y before to P7D after, is more than a year",
        ),
        ('lasts = "P3M"', 'lasts = "P12W"', "variant.0.phase.0.lasts: 'P12W', but 'three_months' .* write 'P3M'"),
        ('after = "P3M"', 'after = "P84D"', "variant.0.visit.1.after: 'P84D', but 'three_months'"),
        (
            'three_months = "calendar months"',
            'three_months = "84 days"',
            "variant.0.phase.0.lasts: 'P3M', .*\n.*variant.0.visit.1.after: 'P3M', but 'three_months' .* 'P84D'",
        ),
    ],
)
def test_each_kind_of_fault_is_found(right: str, wrong: str, said: str) -> None:
    text = shipped_text("nights-to-four")
    assert right in text
    with pytest.raises(ProtocolError, match=said):
        protocol.parse(text.replace(right, wrong, 1), "file")


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("bend = [10, 15]", "bend = [12, 12]"),
        ('opens = "P4D"\ncloses = "P7D"', 'opens = "P6M"\ncloses = "P6M"'),
        ('lasts = "P3M"', 'lasts = "P13W"'),  # 91 days: three months counted in neither way
        ('after = "P14D"', 'after = "P84D"'),  # a visit that decides nothing may be on any day
        ('after = "P14D"', 'at_age = "P3Y"'),  # visits may stand in the file in any order
    ],
)
def test_what_is_unusual_but_can_be_is_no_fault(right: str, wrong: str) -> None:
    text = shipped_text("nights-to-four")
    assert right in text
    protocol.parse(text.replace(right, wrong, 1), "file")


def test_two_variants_may_each_have_a_gate_of_one_name() -> None:
    gates = [phase.gate for variant in protocol.shipped("graded-step-down").variant for phase in variant.phase]
    assert gates.count("step-down") == 2


@pytest.mark.parametrize("entry", ["key", "gate", "decides", "opens", "lasts", "foot", "three_months"])
def test_a_list_where_a_text_belongs_is_a_fault_with_its_place(entry: str) -> None:
    lines = shipped_text("nights-to-four").splitlines()
    place = next(number for number, line in enumerate(lines) if line.startswith(f"{entry} = "))
    lines[place] = f'{entry} = ["full-time"]'
    with pytest.raises(ProtocolError, match=entry):
        protocol.parse("\n".join(lines), "file")


def test_a_file_whose_parts_only_contradict_each_other_can_be_read_all_the_same() -> None:
    text = shipped_text("nights-to-four")
    with pytest.raises(ProtocolError) as contradicting:
        protocol.parse(text.replace('foot = "loose"', 'foot = "typical"', 1), "file")
    assert contradicting.value.readable is not None
    with pytest.raises(ProtocolError) as broken:
        protocol.parse(text.replace("version = 1", "version = 0", 1), "file")
    assert broken.value.readable is None


def test_variants_whose_ages_overlap_are_refused() -> None:
    text = shipped_text("graded-step-down")
    with pytest.raises(ProtocolError, match="ages overlap"):
        protocol.parse(text.replace('corrected_from = "P9M"', 'corrected_from = "P6M"'), "file")


def test_a_file_that_is_no_toml_says_where(tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    file.write_text("id = \n", encoding="utf-8")
    with pytest.raises(ProtocolError, match="line 1"):
        protocol.load(file)


def test_a_child_no_variant_covers_is_refused_with_what_there_is() -> None:
    with pytest.raises(ValueError, match=r"no course.*under P3Y9M.*another protocol"):
        protocol.shipped("nights-to-four").variant_for(date(2020, 1, 1), date(2025, 1, 1))
