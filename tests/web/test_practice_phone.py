"""The practice phone: the caregiver answers, the clinic sees what it made of it."""

from datetime import timedelta
from typing import Any

from practice_world import ASHA, JUMA, LAYAN, MINA, NEW, NOW, World, card
from sqlalchemy import select

from bracewatch.store import tables as t


def replies(world: World, child_id: int) -> list[Any]:
    with world.store.read() as connection:
        return list(
            connection.execute(select(t.inbound).where(t.inbound.c.child_id == child_id).order_by(t.inbound.c.id))
        )


def test_a_reply_of_four_hours_puts_low_wear_on_the_call_list(world: World) -> None:
    assert "Low wear." not in card(world.get("/calls"), JUMA)
    page = world.press(f"/practice/{JUMA}/reply", body="4")
    assert "<dd>4 hours</dd>" in page
    assert "Low wear." in page
    assert "Reported wear is low: 4 h for 23 Nov 2026, 23 h prescribed." in card(world.get("/calls"), JUMA)


def test_a_reply_is_kept_as_it_was_typed_and_answered_at_once(world: World) -> None:
    page = world.press(f"/practice/{MINA}/reply", body=" 21 hours ")
    assert replies(world, MINA)[-1].body == " 21 hours "
    assert replies(world, MINA)[-1].received_at == NOW
    assert page.count("Thank you for your answer") == 3


def test_the_same_words_sent_twice_are_two_replies(world: World) -> None:
    before = len(replies(world, MINA))
    world.press(f"/practice/{MINA}/reply", body="20")
    world.press(f"/practice/{MINA}/reply", body="20")
    assert len(replies(world, MINA)) == before + 2


def test_an_empty_reply_is_refused_beside_the_box(world: World) -> None:
    before = len(replies(world, MINA))
    page = world.refused(f"/practice/{MINA}/reply", 422, body="  ")
    assert 'id="body-error">The message is empty' in page
    assert 'aria-describedby="body-error"' in page
    assert len(replies(world, MINA)) == before


def test_a_reply_that_is_too_long_is_refused_and_stays_in_the_box(world: World) -> None:
    page = world.refused(f"/practice/{MINA}/reply", 422, body="ab" * 801)
    assert "has 1602 characters" in page
    assert "ab" * 801 in page


def test_the_phone_is_written_in_the_direction_of_its_language(world: World) -> None:
    assert '<div class="screen" dir="rtl" lang="ar">' in world.get(f"/practice/{LAYAN}")
    assert '<div class="screen" dir="ltr" lang="sw">' in world.get(f"/practice/{JUMA}")


def test_quick_answers_fit_the_last_question_in_the_language_of_the_phone(world: World) -> None:
    page = world.get(f"/practice/{LAYAN}")
    for text in ("23", "8", "اتصال", "توقف"):
        assert f'name="body" value="{text}"' in page


def test_a_family_that_stopped_messages_is_offered_to_start_again(world: World) -> None:
    page = world.press(f"/practice/{MINA}/reply", body="STOP")
    assert 'value="START"' in page
    assert 'value="STOP"' not in page
    assert "No messages go out." in page


def test_only_what_was_sent_is_on_the_phone(world: World) -> None:
    with world.store.begin() as connection:
        connection.execute(t.outbox.update().where(t.outbox.c.child_id == NEW).values(state="expired", sent_at=None))
    assert "No message yet" in world.get(f"/practice/{NEW}")


def test_answering_for_a_family_silences_its_script(world: World) -> None:
    assert "answers by itself" in world.get(f"/practice/{ASHA}")
    world.press(f"/practice/{ASHA}/reply", body="20")
    assert world.desk.by_hand(ASHA)
    assert not world.desk.by_hand(MINA)
    assert "its own script is silent" in world.get(f"/practice/{ASHA}")


def test_a_refused_answer_silences_nothing(world: World) -> None:
    world.refused(f"/practice/{ASHA}/reply", 422, body="")
    assert not world.desk.by_hand(ASHA)


def test_the_next_morning_comes_when_it_is_asked_for(world: World) -> None:
    page = world.press(f"/practice/next-morning?child={MINA}")
    assert world.desk.now() == NOW.replace(hour=8, minute=30) + timedelta(days=1)
    assert "Wednesday 25 Nov 2026, 11:30" in page
    assert "The phone of" in page


def test_the_list_of_phones_shows_what_each_family_last_got(world: World) -> None:
    page = world.get("/practice")
    assert "Hello from Hilltop clinic." in page
    assert "Tuesday 24 Nov 2026, 12:00" in page
    assert page.count('href="/practice/') == 5


def test_a_phone_is_found_by_its_last_digits(world: World) -> None:
    assert world.get("/practice?q=0104").count('href="/practice/') == 1
    assert "See every family" in world.get("/practice?q=nobody")


def test_a_practice_without_families_says_what_to_press(empty_world: World) -> None:
    assert "Next morning" in empty_world.get("/practice")
