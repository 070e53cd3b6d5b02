"""What every clinic takes for granted about a corrected foot. PRACTICE: common practice, no source."""

import json
from pathlib import Path

ABDUCTION_BEFORE_RELEASE = 50  # degrees held by the last cast before the heel-cord release. PRACTICE
ABDUCTION_LAST_CAST = 70  # degrees held by the cast after it; a newborn's normal foot abducts to 70 or more. PRACTICE
CORRECTED = 15  # degrees of dorsiflexion at which a foot counts as corrected. Khan MA et al. Iowa Orthop J
# 2017;37:151-156 (PMC5508266): 15 degrees of dorsiflexion and 70 of abduction. READ


def test_typical_feet_of_the_practice_clinic_left_casting_as_the_trade_expects() -> None:
    programme = json.loads((Path(__file__).parents[2] / "demo_families.json").read_text(encoding="utf-8"))
    typical = [family for family in programme["families"] if family["foot"] == "typical"]
    assert typical
    for family in typical:
        assert family["abduction_before_release"] == ABDUCTION_BEFORE_RELEASE
        assert family["abduction_last_cast"] == ABDUCTION_LAST_CAST
        assert family["dorsiflexion"] >= CORRECTED
