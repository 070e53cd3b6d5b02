"""The list of families and the page of one: visits, decisions, wear, messages."""

import re
from typing import Any

import pytest
from practice_world import ASHA, JUMA, LAYAN, MINA, NEW, World
from sqlalchemy import select

from bracewatch.store import tables as t


def facts(world: World) -> list[tuple[str, str, str]]:
    """What was written down by hand: the days that the review holds for visits are its own."""
    with world.store.read() as connection:
        query = select(t.course_fact).where(t.course_fact.c.kind != "visit_held").order_by(t.course_fact.c.id)
        rows: list[Any] = list(connection.execute(query))
    return [(row.kind, row.about, row.on_day.isoformat()) for row in rows]


def visit(page: str, key: str) -> str:
    """The part of a family's page about one visit."""
    place = page.index(f"/visits/{key}/")
    start, end = page.rindex("<li", 0, place), page.index("</li>", place)
    return page[start:end]


def names(page: str) -> list[str]:
    return re.findall(r'<th scope="row"><a [^>]*>([^<]+)</a>', page)


def test_the_list_shows_every_family_with_its_phase_and_next_visit(world: World) -> None:
    page = world.get("/families")
    assert len(names(page)) == 5
    assert "5 families" in page
    assert "Full time, day 30" in page
    assert "26 Jan 2027" in page
    assert "never" in page


@pytest.mark.parametrize(
    ("sought", "found"),
    [
        ("mina", "Mina Aroko"),
        ("VELL", "Asha Vell"),
        ("0103", "Juma Telo"),
        ("سمرة", "ليان سمرة"),
        ("ife ab", "Nuru Aban"),
    ],
)
def test_a_family_is_found_by_a_name_or_the_last_digits(world: World, sought: str, found: str) -> None:
    assert names(world.get(f"/families?q={sought}")) == [found]


@pytest.mark.parametrize("sought", ["%", "_", "nobody", "0000", "\\"])
def test_nobody_found_is_said_and_offers_a_way_on(world: World, sought: str) -> None:
    answer = world.client.get("/families", query_string={"q": sought})
    page = answer.get_data(as_text=True)
    assert names(page) == []
    assert "No child, caregiver or phone fits" in page
    assert "see every family" in page


def test_the_list_can_be_cut_to_one_clinic(world: World) -> None:
    assert names(world.get("/families?clinic=riverside")) == ["ليان سمرة"]
    assert world.client.get("/families?clinic=elsewhere").status_code == 404


def test_a_page_of_families_that_does_not_exist_is_not_guessed_at(world: World) -> None:
    assert world.client.get("/families?page=2").status_code == 404


def test_the_page_of_a_family_says_what_is_prescribed_now(world: World) -> None:
    page = world.get(f"/family/{MINA}")
    assert "23 hours a day (full time), until the clinic decides to step down." in page
    assert "Africa/Nairobi" in page
    assert "Tuesday 24 Nov 2026, 12:00" in page


def test_the_page_of_a_family_carries_the_cautions(world: World) -> None:
    page = world.get(f"/family/{MINA}")
    assert "toes cold, blue or swollen: the family calls the clinic today" in page
    assert "Nobody stops the brace without asking the clinic" in page
    assert "it does not diagnose" in page
    assert "Local protocol and the treating clinician go first" in page


def test_a_step_down_that_is_overdue_is_said(world: World) -> None:
    assert "step down not decided" in world.get(f"/family/{JUMA}")
    assert "step down not decided" not in world.get(f"/family/{MINA}")


def test_the_drawings_have_a_title_a_description_and_a_table(world: World) -> None:
    page = world.get(f"/family/{MINA}")
    drawings = re.findall(r'<svg class="drawing".*?</svg>', page, re.DOTALL)
    assert len(drawings) == 2
    for drawing in drawings:
        assert 'role="img"' in drawing
        assert "<title " in drawing
        assert "<desc " in drawing
        assert "viewBox" not in drawing[: drawing.index(">")]
    assert "The phases as a table" in page
    assert "The reports as a table" in page
    assert "6 of 7" not in page
    assert "26 % low" in page


def test_days_without_a_report_are_said_to_be_unknown(world: World) -> None:
    page = world.get(f"/family/{MINA}")
    assert "The last 29 days: known for 2, not known for 27." in page
    assert "A day not known says nothing about the brace." in page


def test_a_brace_that_starts_today_has_no_wear_yet(world: World) -> None:
    assert "Nothing to report yet" in world.get(f"/family/{NEW}")


def test_messages_are_shown_with_how_they_were_read_and_what_became_of_them(world: World) -> None:
    page = world.get(f"/family/{ASHA}")
    assert "read as: not understood · asked once more" in page
    assert "read as: not understood · given to staff" in page
    assert "Check-in, hours · 16 Nov 2026, 18:00 · sent · " in page
    assert 'lang="hi"' in page


def test_a_kept_visit_is_recorded(world: World) -> None:
    page = world.press(f"/family/{MINA}/visits/first-fit/kept", day="2026-11-20")
    assert facts(world) == [("visit_kept", "first-fit", "2026-11-20")]
    assert "Recorded: the child came on 20 Nov 2026." in page
    assert "Kept, outside its window" in page
    assert "Missed a visit" not in page[page.index("Needs someone") : page.index("Earlier, now settled")]


def test_the_step_down_is_recorded_only_when_it_was_ticked(world: World) -> None:
    world.press(f"/family/{JUMA}/visits/step-down/kept", day="2026-11-24")
    assert facts(world) == [("visit_kept", "step-down", "2026-11-24")]
    page = world.get(f"/family/{JUMA}")
    assert "Not decided yet: step down to nights and naps (12 to 14 hours)" in page
    page = world.press(f"/family/{JUMA}/visits/step-down/kept", day="2026-11-24", decided="on")
    assert facts(world)[1:] == [("gate_opened", "step-down", "2026-11-24")]
    assert "12 to 14 hours a day (nights and naps)" in page
    assert "Not decided yet" not in page


def test_only_the_visit_that_decides_offers_the_decision(world: World) -> None:
    page = world.get(f"/family/{JUMA}")
    assert 'name="decided"' in visit(page, "step-down")
    assert page.count('name="decided"') == 1


def test_a_visit_is_moved(world: World) -> None:
    page = world.press(f"/family/{MINA}/visits/first-fit/moved", day="2026-12-01")
    assert facts(world) == [("visit_booked", "first-fit", "2026-12-01")]
    assert "The visit is now on 1 Dec 2026" in page
    assert "Planned; the clinic chose this day" in page


@pytest.mark.parametrize(
    ("form", "day", "reason"),
    [
        ("kept", "2026-02-30", "is not a day in the calendar"),
        ("kept", "24/11/2026", "write it as in 2026-11-24"),
        ("kept", "20261120", "write it as in 2026-11-24"),
        ("kept", "", "the day is missing"),
        ("kept", "2026-11-25", "today is 2026-11-24"),
        ("kept", "2026-10-01", "before the brace start"),
        ("moved", "2026-02-30", "is not a day in the calendar"),
        ("moved", "2026-11-01", "is no day for a visit"),
        ("moved", "2029-01-01", "a year ahead"),
        ("moved", "<b>soon</b>", "write it as in 2026-11-24"),
    ],
)
def test_a_bad_day_is_refused_beside_its_field_and_stays_there(world: World, form: str, day: str, reason: str) -> None:
    page = world.refused(f"/family/{MINA}/visits/first-fit/{form}", 422, day=day)
    field = visit(page, "first-fit")
    error = re.search(rf'id="{form}-first-fit-error">([^<]+)<', field)
    assert error
    assert reason in error[1]
    typed = re.search(
        rf'<input id="{form}-first-fit" name="day" type="text" value="([^"]*)"[^>]*aria-invalid="true"', field
    )
    assert typed
    assert typed[1] == day.replace("<", "&lt;").replace(">", "&gt;")
    assert facts(world) == []


def test_a_ticked_decision_stays_ticked_beside_a_bad_day(world: World) -> None:
    page = world.refused(f"/family/{JUMA}/visits/step-down/kept", 422, day="2026-02-30", decided="on")
    assert re.search(r'name="decided" checked', visit(page, "step-down"))


def test_a_visit_that_is_not_in_the_plan_is_not_found(world: World) -> None:
    world.refused(f"/family/{MINA}/visits/no-such/kept", 404, day="2026-11-20")
    world.refused("/family/999/visits/first-fit/kept", 404, day="2026-11-20")
    assert facts(world) == []


def test_a_kept_visit_cannot_be_moved(world: World) -> None:
    world.press(f"/family/{MINA}/visits/first-fit/kept", day="2026-11-10")
    assert "/visits/first-fit/moved" not in world.get(f"/family/{MINA}")
    world.refused(f"/family/{MINA}/visits/first-fit/moved", 422, day="2026-12-01")
    assert len(facts(world)) == 1


def test_a_call_recorded_on_the_page_of_a_family_leads_back_to_it(world: World) -> None:
    answer = world.post(f"/calls/{LAYAN}?back=family", outcome="spoke", note="heel looks better")
    assert answer.location == f"/family/{LAYAN}"
    page = world.get(f"/family/{LAYAN}")
    assert "heel looks better" in page
    assert "Earlier, now settled" in page


def test_a_child_that_came_without_a_booking_is_recorded(world: World) -> None:
    page = world.press(f"/family/{MINA}/visits/unplanned", day="2026-11-20")
    assert facts(world) == [("visit_kept", "", "2026-11-20")]
    assert "came without a booking on 20 Nov 2026" in page


def test_a_day_that_cannot_be_keeps_what_was_typed_in_the_form_for_unbooked_visits(world: World) -> None:
    page = world.refused(f"/family/{MINA}/visits/unplanned", 422, day="30/2")
    assert 'value="30/2"' in page
    assert facts(world) == []


def test_a_decision_ticked_by_mistake_can_be_taken_back(world: World) -> None:
    world.press(f"/family/{JUMA}/visits/step-down/kept", day="2026-11-24", decided="on")
    page = world.press(f"/family/{JUMA}/decisions/step-down/taken-back")
    assert "Taken back" in page
    assert "until the clinic decides to step down" in page
    assert "nothing to take back" in world.refused(f"/family/{JUMA}/decisions/step-down/taken-back", 400)


def test_messages_stopped_for_a_wrong_number_go_out_again_when_it_is_put_right(world: World) -> None:
    world.press(f"/calls/{MINA}", outcome="wrong_number")
    page = world.get(f"/family/{MINA}")
    assert "stopped by us, somebody else has this number" in page
    path = re.search(rf"/family/{MINA}/people/\d+/released", page)
    assert path is not None
    assert "Messages go out again" in world.press(path[0])
    assert "stopped by us" not in world.get(f"/family/{MINA}")
