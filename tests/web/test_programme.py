"""The managers' page: it answers in the order of a manager's questions, says what each figure is, and names nobody."""

import re
from collections.abc import Iterator
from datetime import date
from html import unescape
from pathlib import Path

import pytest
from practice_world import World, open_world
from programme_cast import CANARY_CAREGIVER, CANARY_CHILD, START, Cast, at, two_clinics

from bracewatch.services import calls, visits
from bracewatch.store import Store

LAST = date(2026, 11, 24)


@pytest.fixture
def cast(tmp_path: Path) -> Iterator[Cast]:
    people = new_cast(tmp_path)
    yield people
    people.store.close()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Cast, World]]:
    """Hill clinic: two families, one answers in September, the other never. Shore clinic: one who is not reached.

    CALC, Hill clinic: each family is asked on 3, 8, 15, 22 and 29 September and on 6, 13, 20 and 27 October. One
    answers "23" on 3 and 8 September, so 2 of 10 periods are known in September and none of 8 in October.
    """
    people = new_cast(tmp_path_factory.mktemp("filled"))
    answers, silent, unreached = people.family(), people.family(), people.family("shore")
    people.dead.add(people.phones[unreached])
    said = {date(2026, 9, 3): "23", date(2026, 9, 8): "23"}
    people.play(START, LAST, {answers: said})
    visits.record_kept(people.store, silent, "first-fit", date(2026, 9, 15), at(LAST, 8), note="canarynote")
    calls.record(people.store, silent, "no_answer", at(LAST, 8), "canarynote")
    opened = world_of(people)
    yield people, opened
    opened.store.close()
    people.store.close()


def new_cast(folder: Path) -> Cast:
    store = Store(f"sqlite:///{folder / 'clinic.sqlite3'}")
    store.migrate()
    return two_clinics(store)


def world_of(cast: Cast) -> World:
    return open_world(Path(str(cast.store.url.database)))


def text(page: str) -> str:
    """What a reader sees of the page, in one line."""
    main = page[page.index("<main") : page.index("</main>")]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", main)))


def section(page: str, heading: str) -> str:
    """What a reader sees of the section under that heading."""
    found = re.search(rf"<h2 [^>]*>{re.escape(heading)}</h2>.*?(?=<h2|</main>)", page, re.DOTALL)
    assert found, heading
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", found[0])))


WEAR, COMING, REACH, WHERE = (
    "Are our children wearing the brace?",
    "Are they coming?",
    "Whom can we not reach?",
    "Where are the children now?",
)


def test_the_page_follows_a_managers_questions(filled: tuple[Cast, World]) -> None:
    page = filled[1].get("/programme")
    assert re.findall(r"<h2[^>]*>(.*?)</h2>", page) == [WEAR, COMING, REACH, WHERE]


@pytest.mark.parametrize(
    ("heading", "terms"),
    [
        (WEAR, ("Check-in period", "Known and not known", "Mean reported", "Not known", "Least to most it can be")),
        (COMING, ("Due", "Kept in time", "Kept late", "Not kept")),
        (REACH, ("Nothing may be sent", "Could not be sent", "Answered within 2 days", "Flag that stands")),
        (WHERE, ("Phase", "Waiting for the brace", "Bracing has ended")),
    ],
)
def test_every_figure_has_its_definition_beside_it(
    filled: tuple[Cast, World], heading: str, terms: tuple[str, ...]
) -> None:
    page = filled[1].get("/programme")
    start = page.index(f">{heading}</h2>")
    end = page.find("<h2", start)
    defined = re.findall(r"<dt>(.*?)</dt>", page[start:end])
    assert set(terms) <= set(defined)


def test_the_page_says_that_these_are_reports_and_that_reports_run_above_sensors(filled: tuple[Cast, World]) -> None:
    # Morgenstein A et al. J Pediatr Orthop 2015;35(2):185-191: diary against sensor, months 1 to 3. READ
    said = section(filled[1].get("/programme"), WEAR).replace("\N{NO-BREAK SPACE}", " ")
    assert "what families report, not what a sensor measures" in said
    assert "94.9, 95.6 and 94.8 % of the day" in said
    assert "91.7, 86.8 and 77.1 %" in said
    assert "doi:10.1097/BPO.0000000000000205" in said


def test_the_unknown_share_stands_beside_the_mean_with_both_bounds(filled: tuple[Cast, World]) -> None:
    """CALC: September, Hill clinic: mean 23/23 = 100 %; unknown 8/10; bounds 2/10 and (2 + 8)/10."""
    said = section(filled[1].get("/programme?clinic=hill"), WEAR).replace("\N{NO-BREAK SPACE}", " ")
    assert "September 2026 100 % 20 % to 100 % 80 % (8 of 10) 10 2" in said


def test_a_month_without_reports_says_not_known_and_not_zero(filled: tuple[Cast, World]) -> None:
    said = section(filled[1].get("/programme?clinic=hill"), WEAR).replace("\N{NO-BREAK SPACE}", " ")
    assert "October 2026: wear is not known in any of 8 check-in periods (2 children)" in said
    assert "That is no sign that the brace was not worn." in said
    assert "October 2026 not known 0 % to 100 % 100 % (8 of 8)" in said


def test_a_month_without_check_ins_says_that_nothing_can_be_said(cast: Cast) -> None:
    cast.family(start=date(2026, 9, 1))
    cast.play(START, date(2026, 9, 10))
    world = world_of(cast)
    said = section(world.get("/programme"), WEAR)
    assert "October 2026 No check-in: nothing can be said" in said
    assert "November 2026 so far: no check-in stands for a day in this phase" in said
    world.store.close()


def test_nobody_is_named_on_the_page(filled: tuple[Cast, World]) -> None:
    cast, world = filled
    secrets = [*CANARY_CHILD.split(), *CANARY_CAREGIVER.split(), "canarynote", *cast.phones.values()]
    secrets += [phone.lstrip("+") for phone in cast.phones.values()]
    for path in ("/programme", "/programme?clinic=hill", "/programme?clinic=shore"):
        page = world.get(path)
        assert [secret for secret in secrets if secret in page] == []
        assert "/family" not in page[page.index("<main") :], "no way from a figure to a family"


def test_the_canaries_would_be_found_on_a_page_that_names_families(filled: tuple[Cast, World]) -> None:
    assert CANARY_CHILD in filled[1].get("/families")


def test_one_clinics_page_leaves_the_other_out(filled: tuple[Cast, World]) -> None:
    hill, shore = (filled[1].get(f"/programme?clinic={key}") for key in ("hill", "shore"))
    assert "2 children are enrolled" in text(hill)
    assert "1 child is enrolled" in text(shore)
    assert "Refused by the phone network" in section(shore, REACH)
    assert "Refused by the phone network" not in section(hill, REACH)
    assert re.findall(r'aria-current="page">([^<]+)</a>', hill[hill.index("<main") :]) == ["Hill clinic"]


def test_the_page_of_all_clinics_says_so(filled: tuple[Cast, World]) -> None:
    page = filled[1].get("/programme")
    assert re.findall(r'aria-current="page">([^<]+)</a>', page[page.index("<main") :]) == ["All clinics"]


@pytest.mark.parametrize("key", ["valley", "", "hill'--", "%3Cscript%3E"])
def test_a_clinic_there_is_not_is_not_found(filled: tuple[Cast, World], key: str) -> None:
    answer = filled[1].client.get(f"/programme?clinic={key}")
    assert answer.status_code == 404
    assert b"<script" not in answer.data


def test_a_check_in_that_never_went_out_leaves_its_child_out_and_says_where_to_look(
    filled: tuple[Cast, World],
) -> None:
    said = section(filled[1].get("/programme?clinic=shore"), WEAR)
    assert "nothing can be said about wear" in said
    assert "no sign that braces are not worn" in said
    assert "see “Whom can we not reach?”" in said


def test_replies_visits_and_phases_are_told(filled: tuple[Cast, World]) -> None:
    """CALC, Hill clinic: 10 check-ins in September, 2 answered; two first visits due then, one kept in time."""
    page = filled[1].get("/programme?clinic=hill").replace("\N{NO-BREAK SPACE}", " ")
    assert "September 2026 2 2 10 20 % (2 of 10)" in section(page, REACH)
    assert "September 2026 2 1 0 0 1" in section(page, COMING)
    assert "Full time Full time 2" in section(page, WHERE)


def test_every_chart_has_its_figures_in_a_table_in_the_same_section(filled: tuple[Cast, World]) -> None:
    page = filled[1].get("/programme")
    charts = [place.start() for place in re.finditer(r'<svg class="drawing chart"', page)]
    assert len(charts) == 3  # full time, visits, phases
    for start, end in zip(charts, [*charts[1:], len(page)], strict=True):
        assert "<table" in page[start:end]


def test_every_id_on_the_page_is_there_once(filled: tuple[Cast, World]) -> None:
    ids = re.findall(r'\sid="([^"]+)"', filled[1].get("/programme"))
    assert sorted(ids) == sorted(set(ids))


def test_the_page_has_no_style_or_script_of_its_own(filled: tuple[Cast, World]) -> None:
    # The Content-Security-Policy of every page allows neither.
    page = filled[1].get("/programme")
    assert not re.search(r"\sstyle=|<style|<script", page)


def test_without_families_the_page_says_that_there_is_nothing_to_count(empty_world: World) -> None:
    page = empty_world.get("/programme")
    assert "No family has been enrolled here yet" in text(page)
    assert "<svg" not in page
    assert "<h2" not in page


def test_a_clinic_without_families_says_so_while_the_other_has_some(cast: Cast) -> None:
    cast.family("hill", start=LAST)
    world = world_of(cast)
    assert "No family has been enrolled here yet" in text(world.get("/programme?clinic=shore"))
    assert "1 child is enrolled" in text(world.get("/programme"))
    world.store.close()


def test_one_family_is_told_that_its_figures_are_its_own(cast: Cast) -> None:
    child = cast.family(start=date(2026, 10, 27))
    cast.play(date(2026, 10, 27), date(2026, 10, 30), {child: {date(2026, 10, 29): "23"}})
    world = world_of(cast)
    page = world.get("/programme").replace("\N{NO-BREAK SPACE}", " ")
    assert "With one family, every figure below is that family’s own." in text(page)
    said = section(page, WEAR)
    assert "October 2026: families reported 100 % of the prescribed hours. The one check-in period is known." in said
    assert "This is 1 child: one family can move the figure by much." in said
    assert "No visit was due" in text(page) or "No visit has been due yet" in text(page)
    world.store.close()


def test_a_family_enrolled_today_has_no_figures_yet_and_nothing_is_made_up(cast: Cast) -> None:
    cast.family(start=LAST)
    world = world_of(cast)
    page = world.get("/programme")
    assert "No check-in has had its two days to be answered yet" in section(page, WEAR)
    assert "No visit has been due yet" in section(page, COMING)
    assert "no check-in was sent, so nothing can be said about replies" in section(page, REACH)
    assert "Full time Full time 1" in section(page, WHERE)
    world.store.close()
