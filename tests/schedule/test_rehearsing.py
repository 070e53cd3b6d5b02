from pathlib import Path

import pytest

from bracewatch.schedule import protocol
from bracewatch.schedule.protocol import ProtocolError
from bracewatch.schedule.rehearsing import faults_in_use, load_rehearsed


def changed(protocol_id: str, *changes: tuple[str, str]) -> protocol.Protocol:
    text = protocol.shipped(protocol_id).text
    for right, wrong in changes:
        assert right in text
        text = text.replace(right, wrong, 1)
    return protocol.parse(text, "file")


@pytest.mark.parametrize("protocol_id", protocol.shipped_ids())
def test_shipped_protocols_have_none(protocol_id: str) -> None:
    assert faults_in_use(protocol.shipped(protocol_id)) == []


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ('until_age = "P4Y"\nasks', 'until_age = "P2M"\nasks', "variant.0.phase.1: no child gets a day"),
        ('corrected_before = "P3Y9M"', 'corrected_before = "P4Y6M"', ""),
        (
            'corrected_before = "P3Y9M"',
            'corrected_from = "P4Y"\ncorrected_before = "P3Y"',
            "variant.0: no child is covered",
        ),
        ('key = "first-fit"', 'key = "every-four-months-1"', "2 visits would be called 'every-four-months-1'"),
        ('every = "P4M"\nuntil_age = "P3Y"', 'every = "P3D"\nuntil_age = "P3Y"', "variant.0.visit.2: a row of 199"),
        ('after = "P3M"', 'after = "P2Y"', "variant.0.visit.1: decides 'step-down', but its window does not hold"),
        ('after = "P3M"', 'after = "P10W"', "the day on which 'full-time' is planned to end"),
        ('after = "P3M"', 'at_age = "P1D"', "variant.0.visit.1: decides 'step-down'"),  # never held: too early
        ('after = "P3M"', 'after = "P13W"', ""),  # the window holds the day
        ('after = "P14D"', 'after = "P14D"\ndecides = "step-down"', ""),  # one of the two that decide it does
    ],
)
def test_faults_that_show_in_use_are_named_with_their_place(right: str, wrong: str, said: str) -> None:
    found = faults_in_use(changed("nights-to-four", (right, wrong)))
    assert [said in fault for fault in found] == ([True] if said else [])


def test_a_variant_that_leaves_its_oldest_child_no_day_is_named() -> None:
    rules = changed("graded-step-down", ('until_age = "P5Y"  #', 'until_age = "P3Y"  #'))
    assert any("no day of bracing is left" in fault for fault in faults_in_use(rules))


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    text = protocol.shipped("nights-to-four").text
    for right, wrong in changes:
        assert right in text
        text = text.replace(right, wrong, 1)
    file = folder / "ours.toml"
    file.write_text(text, encoding="utf-8")
    return file


LATE, TWICE, BROKEN = (
    ('after = "P3M"', 'after = "P2Y"'),
    ('foot = "loose"', 'foot = "typical"'),
    ("[23, 23]", "[23, 25]"),
)


def test_a_file_that_can_be_read_has_both_kinds_of_faults_named_at_once(tmp_path: Path) -> None:
    with pytest.raises(ProtocolError) as caught:
        load_rehearsed(written(tmp_path, LATE, TWICE))
    assert [fault.split(":")[0] for fault in caught.value.faults] == ["settings.1.foot", "variant.0.visit.1"]


def test_a_file_that_cannot_be_read_is_not_rehearsed(tmp_path: Path) -> None:
    with pytest.raises(ProtocolError) as caught:
        load_rehearsed(written(tmp_path, LATE, BROKEN))
    assert [fault.split(":")[0] for fault in caught.value.faults] == ["variant.0.phase.0.hours.1"]


def test_a_sound_file_is_loaded_as_it_is(tmp_path: Path) -> None:
    file = written(tmp_path)
    assert load_rehearsed(file) == protocol.load(file)


def test_a_variant_is_rehearsed_on_its_own_where_ages_overlap(tmp_path: Path) -> None:
    text = protocol.shipped("graded-step-down").text.replace('corrected_from = "P9M"', 'corrected_from = "P6M"', 1)
    (tmp_path / "ours.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ProtocolError) as caught:
        load_rehearsed(tmp_path / "ours.toml")
    assert caught.value.faults == ("variant.1: its ages overlap those of variant.0",)
