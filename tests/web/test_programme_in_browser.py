"""The programme page in a real browser, with a year of figures: it fits, is accessible, and its charts can be read."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from in_browser import DESK, PHONE, faults, served, sticks_out
from playwright.sync_api import Browser, ViewportSize, expect
from practice_world import open_world
from programme_cast import at, days, two_clinics

from bracewatch.services import visits
from bracewatch.store import Store

FIRST, LAST = date(2025, 12, 2), date(2026, 11, 24)
ADDRESSES = ["/programme", "/programme?clinic=hill", "/programme?clinic=shore"]
BOTH_SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])

# Every text of a chart that is shown, with its box and that of its chart.
SHOWN_TEXTS = """
() => [...document.querySelectorAll('svg.chart')].flatMap(chart => {
  const whole = chart.getBoundingClientRect()
  return [...chart.querySelectorAll('text')]
    .filter(text => getComputedStyle(text).display !== 'none')
    .map(text => ({ text, box: text.getBoundingClientRect() }))
    .map(({ text, box }) => ({
      chart: chart.querySelector('title').textContent,
      words: text.textContent,
      size: parseFloat(getComputedStyle(text).fontSize),
      left: box.left - whole.left, right: whole.right - box.right, top: box.top, bottom: box.bottom, from: box.left,
      to: box.right, inside: box.left >= whole.left && box.right <= whole.right && box.top >= whole.top &&
        box.bottom <= whole.bottom,
    }))
})
"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A year of figures in all groups of phases, some months without a word, served on this machine."""
    path = tmp_path_factory.mktemp("year") / "clinic.sqlite3"
    store = Store(f"sqlite:///{path}")
    store.migrate()
    cast = two_clinics(store)
    stays, steps = cast.family(start=FIRST), cast.family(start=FIRST, protocol_id="graded-step-down")
    unreached = cast.family("shore", start=date(2026, 6, 2))
    cast.dead.add(cast.phones[unreached])
    for day in days(FIRST, LAST):
        cast.tick(at(day, 18, 5))
        if day == date(2026, 3, 3):
            visits.record_kept(store, steps, "step-down", day, at(day, 18), opens_gate=True)
        if day.weekday() in (1, 2) and day.month % 4:  # the families write on two days a week, and not every month
            cast.says(stays, "22", at(day, 19))
            cast.says(steps, "6", at(day, 19))
    with served(open_world(path)) as at_address:
        yield at_address
    store.close()


@BOTH_SIZES
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_fits_and_is_accessible(address: str, chromium: Browser, size: ViewportSize, scheme: str) -> None:
    # The content policy forbids the script that judges the page, so this one browser overlooks the policy.
    context = chromium.new_context(viewport=size, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    for path in ADDRESSES:
        page.goto(address + path)
        assert not sticks_out(page), path
        page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true })")
        assert not sticks_out(page), f"{path} with everything opened"
        assert faults(page) == [], path
    context.close()


@BOTH_SIZES
def test_texts_of_the_charts_keep_their_size_and_do_not_cover_each_other(
    address: str, chromium: Browser, size: ViewportSize
) -> None:
    page = chromium.new_page(viewport=size)
    page.goto(address + "/programme")
    texts = page.evaluate(SHOWN_TEXTS)
    assert len({text["chart"] for text in texts}) == 5  # full time, stepping down, nights, visits, phases
    assert {text["size"] for text in texts} == {13}
    assert [text["words"] for text in texts if not text["inside"]] == []
    assert [(a["chart"], a["words"], b["words"]) for a in texts for b in texts if covers(a, b)] == []
    page.close()


def covers(one: dict[str, float], other: dict[str, float]) -> bool:
    """Whether two texts of one chart lie over each other by more than the white round their letters."""
    if one is other or one["chart"] != other["chart"]:
        return False
    across = min(one["to"], other["to"]) - max(one["from"], other["from"])
    down = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
    return across > 0 and down > 4  # a line is 4 px higher than its letters


def test_the_wide_page_names_every_month_and_the_narrow_one_every_third(address: str, chromium: Browser) -> None:
    assert (_months_named(address, chromium, DESK), _months_named(address, chromium, PHONE)) == (12, 4)


def _months_named(address: str, chromium: Browser, size: ViewportSize) -> int:
    page = chromium.new_page(viewport=size)
    page.goto(address + "/programme")
    months = {f"{date(2026, 1, 1) + timedelta(days=31 * number):%b}" for number in range(12)}
    shown = [text["words"] for text in page.evaluate(SHOWN_TEXTS) if "Full time" in text["chart"]]
    page.close()
    return sum(word in months for word in shown)


def test_the_content_policy_stops_nothing_on_the_page(address: str, chromium: Browser) -> None:
    page = chromium.new_page(viewport=DESK)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(address + "/programme")
    assert complaints == []
    page.close()


def test_paper_shows_the_tables_that_the_screen_folds_away(address: str, chromium: Browser) -> None:
    page = chromium.new_page(viewport=ViewportSize(width=718, height=1000))  # A4 within the browser's own margins
    page.goto(address + "/programme")
    tables = page.locator("details:not([open]) table")
    expect(tables).to_have_count(5)  # three groups of phases, visits, replies
    for number in range(5):
        expect(tables.nth(number)).to_be_hidden()
    page.emulate_media(media="print")
    for number in range(5):
        expect(tables.nth(number)).to_be_visible()
    page.close()
