"""The drawings: sound XML, no style of their own, every figure at its place, every text escaped."""

import re
from datetime import date
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.rates import charts
from bracewatch.rates.adherence import Adherence, Group
from bracewatch.rates.attendance import Attendance
from bracewatch.rates.charts import Bar, Svg
from bracewatch.rates.months import months_up_to

MONTHS = months_up_to(date(2026, 11, 24), 12)
OCTOBER = date(2026, 10, 1)


def row(month: date, known: int, unknown: int, total: float) -> Adherence:
    return Adherence(month, Group.NIGHTS, ("Nights",), 3, known + unknown, known, total)


def drawn(svg: Svg) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own drawing


def found(root: ET.Element, look: str) -> list[ET.Element]:
    return [element for element in root.iter() if look in element.get("class", "").split()]


def words(root: ET.Element) -> list[str]:
    return [(element.text or "").replace("\N{NO-BREAK SPACE}", " ") for element in root.iter("text")]


def adherence(rows: dict[date, Adherence], months: tuple[date, ...] = MONTHS) -> ET.Element:
    return drawn(charts.adherence("nights", "Nights", "About", months, rows))


def test_the_mean_the_band_and_the_unknown_lie_where_the_figures_say() -> None:
    """CALC: known 2 of 4 with sum 1.4: mean 0.7, bounds 0.35 and 0.85, unknown 0.5.

    The plot is 110 px high from y = 48: mean at 48 + 110 × 0.3 = 81.0, band from 48 + 110 × 0.15 = 64.5 over
    110 × 0.5 = 55.0. The unknown bar is half of 36 px = 18.0 and stands on y = 206 + 36.
    """
    root = adherence({OCTOBER: row(OCTOBER, 2, 2, 1.4)})
    (dot,), (band,), (hatched,) = found(root, "mean"), found(root, "band"), found(root, "hatched")
    assert dot.get("cy") == "81.0"
    assert (band.get("y"), band.get("height")) == ("64.5", "55.0")
    assert (hatched.get("y"), hatched.get("height")) == ("224.0", "18.0")
    assert {"70 %", "50 %"} <= set(words(root))


def test_a_month_without_a_known_period_has_a_question_mark_and_no_dot() -> None:
    root = adherence({OCTOBER: row(OCTOBER, 0, 4, 0)})
    (band,) = found(root, "band")
    assert (band.get("y"), band.get("height")) == ("48.0", "110.0")
    assert found(root, "mean") == []
    assert "?" in words(root)


def test_a_month_without_check_ins_is_a_dash_and_not_a_zero() -> None:
    root = adherence({OCTOBER: row(OCTOBER, 4, 0, 4)})
    assert words(root).count("–") == len(MONTHS) - 1
    assert len(found(root, "band")) == 1


def test_the_line_joins_only_months_that_follow_each_other_and_are_known() -> None:
    july, august = MONTHS[-5], MONTHS[-4]
    rows = {july: row(july, 1, 0, 1), august: row(august, 1, 1, 1), OCTOBER: row(OCTOBER, 1, 0, 1)}
    assert len(found(adherence(rows), "trend")) == 1
    rows[MONTHS[-3]] = row(MONTHS[-3], 0, 3, 0)
    assert len(found(adherence(rows), "trend")) == 1
    rows[MONTHS[-3]] = row(MONTHS[-3], 1, 3, 0.5)
    assert len(found(adherence(rows), "trend")) == 3


def test_on_a_narrow_page_every_third_month_is_named_and_always_the_last() -> None:
    root = adherence({})
    months = {
        look: [element.text for element in found(root, look) if "quiet" not in element.get("class", "")]
        for look in ("few", "many")
    }
    assert months["few"] == ["Feb", "May", "Aug", "Nov"]
    assert len(months["few"]) + len(months["many"]) == len(MONTHS)


def test_a_column_of_visits_stands_on_the_line_and_is_as_high_as_its_count() -> None:
    """CALC: the highest column, 5 visits, takes 110 px: 22 px a visit, from y = 158 up."""
    root = drawn(charts.attendance("visits", "Visits", "About", MONTHS, {OCTOBER: Attendance(OCTOBER, 2, 1, 1, 1)}))
    pieces = {look: found(root, look)[0] for look in ("full", "hatched", "dotted", "frame")}
    assert {look: (piece.get("y"), piece.get("height")) for look, piece in pieces.items()} == {
        "full": ("114.0", "44.0"),
        "hatched": ("92.0", "22.0"),
        "dotted": ("70.0", "22.0"),
        "frame": ("48.0", "22.0"),
    }
    assert "3/5" in words(root)


def test_a_drawing_without_any_visit_is_drawn_all_the_same() -> None:
    root = drawn(charts.attendance("visits", "Visits", "About", MONTHS, {}))
    assert words(root).count("–") == len(MONTHS)


def test_the_longest_bar_fills_the_width_and_the_others_stand_to_it_as_their_numbers() -> None:
    root = drawn(
        charts.bars("now", "Now", "About", [Bar("Nights", 8, "8 children"), Bar("Full time", 2, "2 children")])
    )
    assert [bar.get("width") for bar in found(root, "full")] == ["100.00%", "25.00%"]
    assert words(root) == ["Nights: 8 children", "Full time: 2 children"]


def test_bars_of_nothing_have_no_length() -> None:
    root = drawn(charts.bars("now", "Now", "About", [Bar("Nights", 0, "0 children")]))
    assert [bar.get("width") for bar in found(root, "full")] == ["0.00%"]


def every_drawing() -> list[Svg]:
    return [
        charts.adherence("a", "Title", "About", MONTHS, {OCTOBER: row(OCTOBER, 2, 2, 1.4)}),
        charts.attendance("b", "Title", "About", MONTHS, {OCTOBER: Attendance(OCTOBER, 2, 1, 1, 1)}),
        charts.bars("c", "Title", "About", [Bar("Nights", 8, "8 children")]),
    ]


@pytest.mark.parametrize("svg", every_drawing())
def test_a_drawing_is_named_described_and_never_scaled(svg: Svg) -> None:
    root = drawn(svg)
    ids = {element.get("id"): element for element in root.iter() if element.get("id")}
    named_by = [ids[name].text for name in root.get("aria-labelledby", "").split()]
    assert named_by == ["Title", "About"]
    assert (root.get("role"), root.get("width"), root.get("viewBox")) == ("img", "100%", None)
    assert root.get("height", "").isdigit()


@pytest.mark.parametrize("svg", every_drawing())
def test_a_drawing_brings_no_style_or_script_of_its_own(svg: Svg) -> None:
    # The pages' Content-Security-Policy allows neither inline styles nor inline scripts.
    assert not re.search(r"\sstyle=|<style|<script|\son\w+=", svg)


@pytest.mark.parametrize("svg", every_drawing())
def test_every_pattern_that_is_used_is_in_the_same_drawing(svg: Svg) -> None:
    used = set(re.findall(r"url\(#([^)]+)\)", svg))
    assert used <= {element.get("id") for element in drawn(svg).iter("pattern")}


def test_what_a_page_puts_in_is_escaped() -> None:
    svg = charts.bars("c", "<b>&", '"<i>', [Bar("</svg><script>", 1, "<1")])
    assert "<script>" not in svg
    assert words(drawn(svg)) == ["</svg><script>: <1"]
    assert svg.__html__() == svg


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40), st.floats(0, 1)), min_size=1, max_size=24))
def test_everything_drawn_lies_inside_the_drawing(figures: list[tuple[int, int, float]]) -> None:
    months = months_up_to(date(2026, 11, 1), len(figures))
    rows = {
        month: row(month, known, unknown, known * share)
        for month, (known, unknown, share) in zip(months, figures, strict=True)
        if known + unknown
    }
    root = adherence(rows, months)
    height = float(root.get("height", "0"))
    for rect in found(root, "band") + found(root, "hatched") + found(root, "frame"):
        x, width = (float(rect.get(name, "").rstrip("%")) for name in ("x", "width"))
        y, tall = (float(rect.get(name, "")) for name in ("y", "height"))
        assert x >= 0
        assert width > 0
        assert x + width <= 100
        assert tall >= 0
        assert 0 <= y <= y + tall <= height
