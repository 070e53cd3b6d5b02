from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.schedule import protocol
from bracewatch.schedule.feet import POSSIBLE, PUBLISHED, Caution, Correction, Range, Ranges, cautions, ranges_of

GOOD = Correction(
    kind="typical",
    sides="left",
    abduction_before_release=50,
    abduction_last_cast=70,
    dorsiflexion=15,
    rotation_affected=65,
    rotation_unaffected=40,
    bend=12,
    heel="valgus",
)


def only(found: tuple[Caution, ...]) -> Caution:
    (caution,) = found
    return caution


def fields(found: tuple[Caution, ...]) -> list[str]:
    return [caution.field for caution in found]


def test_a_well_corrected_foot_in_a_well_set_brace_gives_no_caution() -> None:
    assert cautions(GOOD) == ()


@pytest.mark.parametrize("kind", ["typical", "atypical", "loose"])
@pytest.mark.parametrize("sides", ["left", "right", "both"])
def test_what_is_not_recorded_gives_no_caution(kind: str, sides: str) -> None:
    assert cautions(Correction(kind, sides)) == ()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("field", "value", "part"),
    [
        ("abduction_before_release", 49, "held 49°"),
        ("abduction_last_cast", 69, "corrected with at least 70°"),
        ("dorsiflexion", 14, "at least 15°"),
        ("dorsiflexion", -5, "was -5°"),
        ("rotation_affected", 59, "60–70°"),
        ("rotation_unaffected", 29, "30–45°"),
        ("rotation_unaffected", 46, "30–45°"),
        ("bend", 9, "10–15°"),
        ("bend", 16, "10–15°"),
        ("bend", 0, "bent 0°"),
        ("heel", "neutral", "neutral"),
        ("heel", "varus", "varus"),
    ],
)
def test_a_value_out_of_range_gives_one_caution_about_that_field(field: str, value: object, part: str) -> None:
    caution = only(cautions(replace(GOOD, **{field: value})))
    assert caution.field == field
    assert part in caution.sentence


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("abduction_before_release", 50),
        ("abduction_before_release", 75),
        ("abduction_last_cast", 80),
        ("dorsiflexion", 30),
        ("rotation_affected", 60),
        ("rotation_affected", 70),
        ("rotation_unaffected", 30),
        ("rotation_unaffected", 45),
        ("bend", 10),
        ("bend", 15),
    ],
)
def test_the_ends_of_a_range_belong_to_it(field: str, value: float) -> None:
    assert cautions(replace(GOOD, **{field: value})) == ()


def test_a_last_cast_under_sixty_speaks_of_the_brace_and_not_also_of_seventy() -> None:
    found = cautions(Correction("typical", "both", abduction_last_cast=55))
    assert "may not be tolerated" in only(found).sentence


def test_short_abduction_with_little_dorsiflexion_says_that_one_limits_the_other() -> None:
    found = cautions(Correction("typical", "both", abduction_last_cast=65, dorsiflexion=10))
    assert fields(found) == ["abduction_last_cast", "dorsiflexion", "dorsiflexion"]
    assert found[-1].label == "PRACTICE"
    assert "limits dorsiflexion" in found[-1].sentence


def test_little_dorsiflexion_at_full_abduction_does_not_blame_the_abduction() -> None:
    assert fields(cautions(replace(GOOD, dorsiflexion=10))) == ["dorsiflexion"]


def test_a_boot_turned_out_further_than_the_last_cast_is_told() -> None:
    found = cautions(Correction("typical", "both", abduction_last_cast=60, rotation_affected=70))
    assert [caution.field for caution in found] == ["abduction_last_cast", "rotation_affected"]
    assert "further than the 60°" in found[-1].sentence


def test_a_boot_turned_out_as_far_as_the_last_cast_is_not() -> None:
    found = cautions(Correction("typical", "both", abduction_last_cast=60, rotation_affected=60))
    assert fields(found) == ["abduction_last_cast"]


def test_a_setting_for_an_unaffected_foot_that_is_affected_is_told() -> None:
    caution = only(cautions(replace(GOOD, sides="both")))
    assert caution.field == "rotation_unaffected"
    assert "both feet are affected" in caution.sentence


def test_loose_joints_are_set_lower() -> None:
    loose = Correction("loose", "right", rotation_affected=35, rotation_unaffected=35)
    assert cautions(loose) == ()
    caution = only(cautions(replace(loose, rotation_affected=65)))
    assert "30–40° is expected for a foot with loose joints" in caution.sentence


@pytest.mark.parametrize(("bend", "rotation"), [(0, 20), (0, 30), (10, 40), (15, 50), (None, 25), (None, 45)])
def test_an_atypical_foot_starts_low_and_is_turned_out_once_the_bar_is_bent(
    bend: float | None, rotation: float
) -> None:
    assert cautions(Correction("atypical", "both", dorsiflexion=12, rotation_affected=rotation, bend=bend)) == ()


@pytest.mark.parametrize(
    ("bend", "rotation", "part"),
    [
        (0, 40, "20–30° is expected for an atypical foot on a straight bar"),
        (12, 30, "40–50° is expected for an atypical foot once the bar is bent"),
        (None, 35, "20–30° or 40–50°"),
        (None, 60, "20–30° or 40–50°"),
    ],
)
def test_an_atypical_foot_set_for_the_other_stage_is_told(bend: float | None, rotation: float, part: str) -> None:
    found = cautions(Correction("atypical", "both", dorsiflexion=12, rotation_affected=rotation, bend=bend))
    assert only(found).field == "rotation_affected"
    assert part in only(found).sentence


def test_the_bar_of_an_atypical_foot_stays_straight_until_there_is_dorsiflexion() -> None:
    early = Correction("atypical", "both", dorsiflexion=8, bend=12)
    assert fields(cautions(early)) == ["dorsiflexion", "bend"]
    assert "stays straight" in cautions(early)[-1].sentence
    assert fields(cautions(replace(early, bend=0))) == ["dorsiflexion"]
    assert cautions(replace(early, dorsiflexion=10)) == ()


def test_the_abduction_of_a_typical_foot_is_not_asked_of_an_atypical_one() -> None:
    assert cautions(Correction("atypical", "left", abduction_before_release=30, abduction_last_cast=40)) == ()


def test_a_clinic_may_put_its_own_range_in_place() -> None:
    own = Range(50, 60, "The clinic's own protocol", "PRACTICE")
    ranges = replace(PUBLISHED, typical=replace(PUBLISHED.typical, rotation_affected=own))
    assert cautions(replace(GOOD, rotation_affected=55), ranges) == ()
    caution = only(cautions(GOOD, ranges))
    assert (caution.cite, caution.label) == (own.cite, own.label)
    assert "50–60°" in caution.sentence


def test_a_range_that_runs_backwards_is_refused() -> None:
    with pytest.raises(ValueError, match="lower end comes first"):
        Range(70, 60, "nowhere", "PRACTICE")


@pytest.mark.parametrize(
    ("field", "value", "allowed"),
    [
        ("abduction_before_release", 200, "0 to 90"),
        ("abduction_last_cast", 200, "0 to 90"),
        ("abduction_last_cast", float("nan"), "0 to 90"),
        ("dorsiflexion", 71, "-60 to 70"),
        ("dorsiflexion", -61, "-60 to 70"),
        ("rotation_affected", -10, "0 to 90"),
        ("rotation_unaffected", 91, "0 to 90"),
        ("bend", -1, "0 to 45"),
        ("bend", float("inf"), "0 to 45"),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_name_with_what_is_allowed(field: str, value: float, allowed: str) -> None:
    with pytest.raises(ValueError, match=f"{field.replace('_', ' ')} .*cannot be: give {allowed}"):
        replace(GOOD, **{field: value})


@pytest.mark.parametrize(
    ("field", "value", "allowed"),
    [
        ("kind", "complex", "typical, atypical or loose"),
        ("sides", "two", "left, right or both"),
        ("heel", "straight", "valgus, neutral or varus"),
    ],
)
def test_an_unknown_word_is_refused_with_those_there_are(field: str, value: str, allowed: str) -> None:
    with pytest.raises(ValueError, match=f"{field} '{value}': use {allowed}"):
        replace(GOOD, **{field: value})


def degrees(field: str) -> st.SearchStrategy[float | None]:
    low, high = POSSIBLE[field]
    return st.none() | st.integers(int(low), int(high)).map(float)


CORRECTIONS = st.builds(
    Correction,
    kind=st.sampled_from(["typical", "atypical", "loose"]),
    sides=st.sampled_from(["left", "right", "both"]),
    heel=st.sampled_from([None, "valgus", "neutral", "varus"]),
    **{field: degrees(field) for field in POSSIBLE},
)


@given(CORRECTIONS)
def test_every_caution_names_a_value_that_was_given_and_a_source(correction: Correction) -> None:
    for caution in cautions(correction):
        assert getattr(correction, caution.field) is not None
        assert caution.sentence.endswith(".")
        assert "None" not in caution.sentence
        assert caution.cite
        assert caution.label in ("READ", "PRACTICE")


@given(CORRECTIONS, st.sampled_from(sorted(POSSIBLE)))
def test_leaving_a_value_out_removes_every_caution_about_it(correction: Correction, field: str) -> None:
    assert field not in fields(cautions(replace(correction, **{field: None})))


def test_every_kind_of_foot_has_ranges() -> None:
    assert isinstance(PUBLISHED, Ranges)
    assert [PUBLISHED.for_kind(kind) for kind in ("typical", "atypical", "loose")] == [
        PUBLISHED.typical,
        PUBLISHED.atypical,
        PUBLISHED.loose,
    ]


def own(*changes: tuple[str, str]) -> Ranges:
    text = protocol.shipped("nights-to-four").text
    for right, wrong in changes:
        assert right in text
        text = text.replace(right, wrong, 1)
    return ranges_of(protocol.parse(text, "file"))


def test_a_clinics_own_settings_are_held_against_instead_of_the_published_ones() -> None:
    ranges = own(("[60, 70]", "[40, 50]"), ("[30, 45]", "[20, 25]"), ("[10, 15]", "[5, 8]"))
    fits = replace(GOOD, rotation_affected=45, rotation_unaffected=25, bend=5)
    assert cautions(fits, ranges) == ()
    assert fields(cautions(fits)) == ["rotation_affected", "rotation_unaffected", "bend"]
    assert fields(cautions(GOOD, ranges)) == ["rotation_affected", "rotation_unaffected", "bend"]


def test_settings_of_one_kind_of_foot_change_nothing_for_another() -> None:
    loose = own(("[60, 70]", "[40, 50]")).for_kind("loose")
    assert loose.rotation_affected == own().for_kind("loose").rotation_affected


def test_what_a_protocol_does_not_say_is_held_against_the_published_ranges() -> None:
    text = protocol.shipped("nights-to-four").text
    begin, end = text.index("[[settings]]"), text.index("[contact]")
    assert ranges_of(protocol.parse(text[:begin] + text[end:], "file")) == PUBLISHED
    assert own().typical.dorsiflexion == PUBLISHED.typical.dorsiflexion


def test_a_caution_about_a_clinics_own_setting_has_the_sources_and_the_weakest_label_of_its_file() -> None:
    read = only(cautions(replace(GOOD, bend=20), own()))
    assert (read.label, "Gupta S" in read.cite, "Five hospital leaflets" in read.cite) == ("READ", True, True)
    practice = only(cautions(replace(GOOD, bend=20), own(('["gupta-2021", "leaflets"]', '["gupta-2021", "clinic"]'))))
    assert (practice.label, "Common practice, no source" in practice.cite) == ("PRACTICE", True)


def test_one_range_for_both_stages_of_an_atypical_foot_leaves_the_stages_as_published() -> None:
    # Desai 2010, Table 2 (READ): 20-30 degrees on a straight bar, 40-50 once it is bent; between them is neither.
    between = Correction("atypical", "left", rotation_affected=35)
    assert fields(cautions(between, own())) == fields(cautions(between)) == ["rotation_affected"]
    assert own().atypical.bend == PUBLISHED.atypical.bend


def test_a_range_of_its_own_for_an_atypical_foot_holds_at_both_stages() -> None:
    ranges = own(("[20, 50]", "[30, 40]"), ("[0, 15]", "[0, 5]"))
    for bend in (0, 5):
        turned = Correction("atypical", "left", rotation_affected=35, bend=bend)
        assert cautions(turned, ranges) == ()
    assert fields(cautions(Correction("atypical", "left", rotation_affected=45), ranges)) == ["rotation_affected"]
