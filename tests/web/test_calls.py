"""The call list: who, why, how urgent, and what came of the call."""

import re
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from practice_world import ASHA, JUMA, LAYAN, MINA, NEW, NOW, PHONES, STRANGER, World, card
from sqlalchemy import event, insert, select, update

from bracewatch.review.flags import RULES
from bracewatch.services.enrolment import NewFamily, enrol
from bracewatch.services.inbox import receive
from bracewatch.store import tables as t
from bracewatch.web.cards import CARDS_A_PAGE, WHAT_TO_SAY


def order(page: str) -> list[int]:
    """The child ids of the cards, in their order on the page."""
    return [int(child_id) for child_id in re.findall(r'<article[^>]*id="child-(\d+)"', page)]


def rows(world: World, table: Any) -> list[Any]:
    with world.store.read() as connection:
        return list(connection.execute(select(table).order_by(table.c.id)))


def test_a_card_says_who_why_since_when_and_how_to_ring(world: World) -> None:
    mina = card(world.get("/calls"), MINA)
    assert "Mina Aroko" in mina
    assert "Dela Aroko" in mina
    assert "Hilltop clinic" in mina
    assert f'href="tel:{PHONES[MINA]}"' in mina
    assert "+44 20 7946 0101" in mina
    assert "Low wear." in mina
    assert "Reported wear is low: 6 h for 22 Nov 2026, 23 h prescribed." in mina
    assert "6 h for 22 Nov 2026 (26 % of prescribed)" in mina
    assert "Full time, day 30" in mina
    assert "Waiting since 11 Nov 2026, 13 days ago" in mina
    assert "Not called yet" in mina
    assert "What would make it easier?" in mina


def test_urgency_is_a_sign_and_a_word_beside_the_colour(world: World) -> None:
    page = world.get("/calls")
    assert "◆</span> Today" in card(page, MINA)
    assert "●</span> This week" in card(page, JUMA)


def test_a_family_that_needs_nobody_is_not_on_the_list(world: World) -> None:
    assert card(world.get("/calls"), NEW) == ""


def test_the_more_urgent_come_first(world: World) -> None:
    cards = order(world.get("/calls"))
    assert set(cards) == {MINA, LAYAN, JUMA, ASHA}
    assert cards[-1] == JUMA


def test_a_message_in_arabic_is_marked_as_arabic(world: World) -> None:
    page = world.get(f"/family/{LAYAN}")
    assert '<p class="bubble" dir="auto" lang="ar">كعبه أحمر ومتورم</p>' in page
    assert "ليان سمرة" in card(world.get("/calls"), LAYAN)


def test_recording_an_outcome_writes_the_call_and_moves_the_card(world: World) -> None:
    page = world.press(f"/calls/{JUMA}", outcome="no_answer", note=" rang twice ")
    (call,) = rows(world, t.call)
    assert (call.child_id, call.outcome, call.note, call.called_at) == (JUMA, "no_answer", "rang twice", NOW)
    assert "Recorded for Juma Telo: no answer." in page
    assert card(page, JUMA) == ""
    below = page[page.index("Called today, nothing new since (1)") :]
    assert "No answer, 12:00" in below
    assert "rang twice" in below


def test_after_recording_the_list_opens_at_the_next_card_with_the_same_filter(world: World) -> None:
    first, second = order(world.get("/calls?clinic=hilltop"))[:2]
    page = world.get("/calls?clinic=hilltop")
    assert f"/calls/{first}?next={second}&amp;clinic=hilltop" in card(page, first)
    answer = world.post(f"/calls/{first}?next={second}&clinic=hilltop", outcome="call_later")
    assert answer.location == f"/calls?clinic=hilltop#child-{second}"


def test_speaking_with_a_family_settles_what_it_wrote(world: World) -> None:
    assert "Sore skin." in card(world.get("/calls"), LAYAN)
    page = world.press(f"/calls/{LAYAN}", outcome="spoke")
    assert "Sore skin" not in page


def test_no_answer_settles_nothing(world: World) -> None:
    page = world.press(f"/calls/{LAYAN}", outcome="no_answer")
    assert "Sore skin" in page[page.index("Called today") :]


def test_a_family_that_writes_after_the_call_comes_back_up(world: World) -> None:
    world.press(f"/calls/{LAYAN}", outcome="no_answer")
    world.desk.at = NOW + timedelta(hours=1)
    receive(world.store, sid="again", phone=PHONES[LAYAN], body="22", received_at=world.desk.at)
    world.desk.tick()
    assert "Last call today: no answer" in card(world.get("/calls"), LAYAN)


def test_a_family_called_yesterday_is_to_be_called_today(world: World) -> None:
    world.press(f"/calls/{MINA}", outcome="no_answer")
    world.desk.to_next_morning()
    assert "Last call yesterday: no answer" in card(world.get("/calls"), MINA)


def test_an_unknown_outcome_is_refused_and_says_what_there_is(world: World) -> None:
    page = world.refused(f"/calls/{MINA}", 400, outcome="shouted", note="kept words")
    assert "shouted" in page
    assert "spoke, no_answer" in page
    assert "kept words" in page
    assert rows(world, t.call) == []


def test_a_note_that_is_too_long_is_refused_and_given_back(world: World) -> None:
    page = world.refused(f"/calls/{MINA}", 400, outcome="spoke", note="n" * 1001)
    assert "shorten it to 1000" in page
    assert "n" * 1001 in page
    assert rows(world, t.call) == []


def test_a_call_to_nobody_is_refused(world: World) -> None:
    world.refused("/calls/999", 404, outcome="spoke")
    assert rows(world, t.call) == []


def test_a_reply_nobody_could_read_waits_with_a_button(world: World) -> None:
    asha = card(world.get("/calls"), ASHA)
    assert "quite a walrus" in asha
    assert "Read and dealt with" in asha
    waiting = next(row for row in rows(world, t.inbound) if row.body == "quite a walrus")
    page = world.press(f"/replies/{waiting.id}/dealt-with")
    assert "the reply was read and dealt with" in page
    assert "Reply nobody could read" not in page
    assert next(row for row in rows(world, t.inbound) if row.id == waiting.id).handled_at == NOW


def test_a_reply_that_does_not_exist_cannot_be_dealt_with(world: World) -> None:
    assert "There is nothing at this address" in world.refused("/replies/999/dealt-with", 404)


def test_a_reply_from_an_unknown_number_has_its_own_place(world: World) -> None:
    page = world.get("/calls")
    place = page[page.index("From numbers we do not know (1)") :]
    assert f"tel:{STRANGER}" in place
    assert "is this the boots place" in place
    stranger = next(row for row in rows(world, t.inbound) if row.phone == STRANGER)
    assert "From numbers we do not know" not in world.press(f"/replies/{stranger.id}/dealt-with")


def test_the_list_can_be_cut_to_one_clinic(world: World) -> None:
    assert order(world.get("/calls?clinic=riverside")) == [LAYAN]
    assert LAYAN not in order(world.get("/calls?clinic=hilltop"))


def test_the_list_can_be_cut_to_one_urgency(world: World) -> None:
    assert order(world.get("/calls?urgency=week")) == [JUMA]
    assert JUMA not in order(world.get("/calls?urgency=today"))


@pytest.mark.parametrize("query", ["clinic=nowhere", "urgency=soon", "page=0", "page=7"])
def test_a_filter_that_does_not_exist_is_not_guessed_at(world: World, query: str) -> None:
    assert world.client.get(f"/calls?{query}").status_code == 404


def test_an_empty_list_says_what_brings_a_family_onto_it(empty_world: World) -> None:
    page = empty_world.get("/calls")
    assert "Nobody is left to call." in page
    assert "Families" in page


def test_a_filter_that_leaves_nobody_offers_the_whole_list(world: World) -> None:
    assert "Show the whole list" in world.get("/calls?clinic=riverside&urgency=week")


def test_what_people_write_is_shown_and_never_run(world: World) -> None:
    name, body = "<script>alert(1)</script>", '"><img src=x onerror=alert(2)>'
    child = enrol(world.store, a_family(name, '<b onclick="x">Bo</b>', "+442079460177"), NOW)
    receive(world.store, sid="evil-1", phone="+442079460177", body=body, received_at=NOW)
    receive(world.store, sid="evil-2", phone="+442079460177", body=body, received_at=NOW)
    receive(world.store, sid="evil-3", phone="+442079460178", body=body, received_at=NOW)
    world.press(f"/calls/{child}", outcome="no_answer", note=body)
    for path in ("/calls", "/families", f"/family/{child}", "/practice", f"/practice/{child}"):
        page = world.get(path)
        assert "<script" not in page, path
        assert "<img" not in page, path
        assert "<b onclick" not in page, path
        assert "&lt;script&gt;alert(1)" in page, path


def a_family(name: str, caregiver: str, phone: str) -> NewFamily:
    return NewFamily(
        clinic_id=1,
        child_name=name,
        born=date(2026, 8, 1),
        brace_start=date(2026, 10, 26),
        caregiver_name=caregiver,
        phone=phone,
        language="en",
        contact_time=time(18),
        agreed_at=NOW,
        agreed_text="welcome en 1",
        agreed_by="Nurse Imara",
    )


def flagged_families(world: World, number: int) -> None:
    for count in range(number):
        enrol(world.store, a_family(f"Child {count}", "Somebody", f"+44207946{1100 + count}"), NOW)
    with world.store.begin() as connection:
        ids = connection.execute(select(t.child.c.id).where(t.child.c.name.like("Child %"))).scalars()
        flag = {"code": "low-wear", "urgency": 2, "sentence": "Low.", "evidence": [], "since": NOW, "raised_at": NOW}
        connection.execute(insert(t.flag), [{"child_id": child_id, **flag} for child_id in ids])
        connection.execute(update(t.child).values(wake_at=None))


def queries_for(world: World, path: str) -> int:
    seen: list[str] = []

    def note(_c: Any, _cur: Any, statement: str, *_rest: Any) -> None:
        seen.append(statement)

    event.listen(world.store.engine, "before_cursor_execute", note)
    world.get(path)
    event.remove(world.store.engine, "before_cursor_execute", note)
    return sum(statement.lstrip().upper().startswith("SELECT") for statement in seen)


@pytest.mark.parametrize("path", ["/calls", "/families", "/practice"])
def test_a_page_asks_the_database_as_often_for_many_families_as_for_few(world: World, path: str) -> None:
    few = queries_for(world, path)
    flagged_families(world, 30)
    assert queries_for(world, path) == few


def test_a_long_list_is_cut_into_pages_that_hold_every_card_once(world: World) -> None:
    flagged_families(world, CARDS_A_PAGE)
    first, second = world.get("/calls"), world.get("/calls?page=2")
    assert len(order(first)) == CARDS_A_PAGE
    assert len(first) < 150_000
    assert len({*order(first), *order(second)}) == CARDS_A_PAGE + 4
    assert not {*order(first)} & {*order(second)}


def test_there_is_something_to_say_for_every_flag() -> None:
    assert set(WHAT_TO_SAY) == {rule.code for rule in RULES}


@pytest.mark.parametrize("words", WHAT_TO_SAY.values())
def test_what_to_say_asks_and_blames_nobody(words: str) -> None:
    """Open questions, no blame, no fear. PRACTICE: common practice, no source."""
    assert words.endswith("?")
    for blaming in ("why", "fail", "must", "should", "wrong", "!"):
        assert blaming not in words.lower()


def test_a_day_is_the_clinics_day(world: World) -> None:
    """23:30 in UTC on the 23rd is the 24th in Nairobi: called "today" on the morning of the 24th."""
    with world.store.begin() as connection:
        late = datetime(2026, 11, 23, 23, 30, tzinfo=NOW.tzinfo)
        connection.execute(insert(t.call).values(child_id=JUMA, called_at=late, outcome="no_answer", note=""))
    page = world.get("/calls")
    assert card(page, JUMA) == ""
    assert "No answer, 02:30" in page


def test_a_wish_for_a_call_is_settled_by_calling_not_by_a_button(world: World) -> None:
    receive(world.store, sid="ring", phone=PHONES[NEW], body="please call me", received_at=NOW)
    world.desk.tick()
    nuru = card(world.get("/calls"), NEW)
    assert "Asked for a call." in nuru
    assert "please call me" in nuru
    assert "Read and dealt with" not in nuru
    assert card(world.press(f"/calls/{NEW}", outcome="spoke"), NEW) == ""
