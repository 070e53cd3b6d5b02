import pytest

from bracewatch.schedule import protocol
from bracewatch.schedule.rehearsing import faults_in_use


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
    ],
)
def test_faults_that_show_in_use_are_named_with_their_place(right: str, wrong: str, said: str) -> None:
    found = faults_in_use(changed("nights-to-four", (right, wrong)))
    assert [said in fault for fault in found] == ([True] if said else [])


def test_a_variant_that_leaves_its_oldest_child_no_day_is_named() -> None:
    rules = changed("graded-step-down", ('until_age = "P5Y"  #', 'until_age = "P3Y"  #'))
    assert any("no day of bracing is left" in fault for fault in faults_in_use(rules))
