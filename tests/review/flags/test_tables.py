"""Every rule against its table of cases that raise and cases that do not."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from cases import case_from, moment

from bracewatch.review.flags import RULES

FOLDER = Path(__file__).parent
TABLES: dict[str, list[dict[str, Any]]] = {
    file.stem: tomllib.loads(file.read_text(encoding="utf-8"))["case"] for file in sorted(FOLDER.glob("*.toml"))
}
BY_CODE = {rule.code: rule for rule in RULES}
ROWS = [pytest.param(code, row, id=f"{code}: {row['name']}") for code, rows in TABLES.items() for row in rows]


def test_every_rule_has_a_table_with_cases_that_raise_and_cases_that_do_not() -> None:
    for rule in RULES:
        assert rule.code in TABLES, f"write tests/review/flags/{rule.code}.toml"
        raising = [row for row in TABLES[rule.code] if "raises" in row]
        assert raising, f"{rule.code}: no case raises it"
        assert len(raising) < len(TABLES[rule.code]), f"{rule.code}: no case where it is not raised"


def test_every_table_belongs_to_a_rule() -> None:
    assert set(TABLES) == set(BY_CODE)


def test_every_rule_has_a_title_and_says_where_it_comes_from() -> None:
    assert len(BY_CODE) == len(RULES)
    for rule in RULES:
        assert rule.title
        assert any(label in rule.source for label in ("READ", "MEMORY", "PRACTICE", "CALC"))


@pytest.mark.parametrize(("code", "row"), ROWS)
def test_the_rule_agrees_with_its_table(code: str, row: dict[str, Any]) -> None:
    expected = {name: row.pop(name) for name in ("raises", "urgency", "evidence", "looks_again") if name in row}
    given = {name: value for name, value in row.items() if name not in ("name", "now")}
    now = moment(row["now"])

    finding = BY_CODE[code].check(case_from(now, **given), now)

    row.update(expected)
    assert (finding.flag is not None) == ("raises" in expected)
    if finding.flag is not None:
        assert expected["raises"] in finding.flag.sentence
        assert finding.flag.code == code
        assert finding.flag.since <= now
        assert expected.get("urgency", finding.flag.urgency.words) == finding.flag.urgency.words
        assert any(expected.get("evidence", "") in line for line in (*finding.flag.evidence, ""))
    if "looks_again" in expected:
        assert finding.look_again == moment(expected["looks_again"])
