"""A text is sent only when a named person at the clinic has approved it, word for word."""

from datetime import timedelta

import pytest
from sqlalchemy import insert
from world import MOTHER, NOW, ZONE, Network, World

from bracewatch.messages import wording
from bracewatch.messages.kinds import Kind
from bracewatch.messages.languages import LANGUAGES
from bracewatch.services import enrolment, inbox, texts
from bracewatch.services.approved import drafts, texts_of, waiting
from bracewatch.services.texts import TextRefused
from bracewatch.store import Store
from bracewatch.store import tables as t

NURSE = "Sister Marigold"
FATHER = "+442079460002"


@pytest.fixture
def world(store: Store) -> World:
    """A clinic that has approved nothing yet."""
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", ZONE, "tue", "+441134960001")
    return World(store, Network(), enrolment.add_clinic(store, clinic))


def shipped(language: str, *kinds: Kind) -> dict[Kind, str]:
    return {kind: wording.shipped_wording(kind, language) for kind in kinds or Kind}


def approve(world: World, language: str, *kinds: Kind) -> int:
    return texts.approve(world.store, world.clinic_id, language, shipped(language, *kinds), NURSE, world.now)


def waiting_bodies(world: World) -> list[str]:
    return [row.body for row in world.rows(t.outbox, t.outbox.c.state == "queued")]


def test_a_family_whose_language_is_a_draft_is_sent_nothing(world: World) -> None:
    world.enrol()
    world.live_until(NOW + timedelta(days=3))
    assert world.rows(t.outbox) == []
    with world.store.read() as connection:
        assert waiting(connection, [world.clinic_id]) == {(world.clinic_id, "en"): 1}
        assert drafts(connection, [world.clinic_id]) == {(world.clinic_id, code): len(Kind) for code in LANGUAGES}


def test_what_still_helps_is_sent_once_the_texts_are_approved(world: World) -> None:
    world.enrol()
    world.tick()
    world.now += timedelta(days=1)
    assert approve(world, "en") == len(Kind)
    world.tick()
    assert world.said() == ["welcome"]  # its usefulness is a week
    with world.store.read() as connection:
        assert waiting(connection, [world.clinic_id]) == {}


def test_what_came_too_late_is_not_sent_after_an_approval(world: World) -> None:
    world.enrol()
    world.now += timedelta(days=8)
    approve(world, "en")
    world.tick()
    assert "welcome" not in world.said()


def test_another_language_or_another_clinic_is_not_approved_with_it(world: World) -> None:
    world.enrol(language="sw")
    other = enrolment.NewClinic("shore", "Shore", "KE", ZONE, "tue", "+441134960002")
    world.enrol(clinic_id=enrolment.add_clinic(world.store, other), phone=FATHER)
    approve(world, "en")
    world.tick()
    assert world.rows(t.outbox) == []


def test_one_approved_text_is_sent_and_the_drafts_beside_it_are_not(world: World) -> None:
    world.enrol()
    approve(world, "en", Kind.CHECK_IN_HOURS)
    world.live_until(NOW + timedelta(days=3))
    assert set(world.said()) == {"check_in_hours"}


def test_an_answer_waits_for_its_text_as_well(world: World) -> None:
    world.enrol()
    world.reply("her heel is red")
    assert world.rows(t.outbox) == []
    world.now += timedelta(hours=2)
    approve(world, "en", Kind.TROUBLE_HEARD)
    world.tick()
    assert world.said() == ["trouble_heard"]


def test_an_answer_that_waited_too_long_is_not_given(world: World) -> None:
    world.enrol()
    world.reply("her heel is red")
    world.now += timedelta(hours=13)
    approve(world, "en", Kind.TROUBLE_HEARD)
    world.tick()
    assert world.said() == []


def test_after_a_stop_only_its_confirmation_is_answered_late(world: World) -> None:
    world.enrol()
    world.reply("please ring me")
    world.now += timedelta(minutes=5)
    world.reply("STOP")
    world.now += timedelta(minutes=5)
    world.reply("hello?")
    approve(world, "en")
    world.tick()
    assert world.said() == ["stopped"]


def test_somebody_who_has_not_agreed_to_messages_is_answered_nothing_late(world: World) -> None:
    world.enrol(agreed_at=None)
    world.reply("please ring me")
    approve(world, "en")
    world.tick()
    assert world.rows(t.outbox) == []


def test_a_reply_that_a_person_has_dealt_with_is_not_answered_late(world: World) -> None:
    world.enrol()
    taken = world.reply("please ring me")
    assert taken is not None
    inbox.handle(world.store, taken.inbound_id, world.now)
    approve(world, "en", Kind.CALL_HEARD)
    world.tick()
    assert world.said() == []


def test_an_answer_given_before_is_not_given_twice(world: World) -> None:
    approve(world, "en", Kind.CALL_HEARD)
    world.enrol()
    world.reply("please ring me")
    world.now += timedelta(minutes=5)
    approve(world, "en")
    world.tick()
    assert world.said().count("call_heard") == 1


def test_taking_an_approval_back_takes_back_what_waits_until_it_is_approved_again(world: World) -> None:
    approve(world, "en")
    world.now = NOW.replace(hour=18, minute=30)  # by night in Nairobi: the answer waits for the morning
    world.enrol()
    world.reply("please ring me")
    assert len(waiting_bodies(world)) == 1
    assert texts.withdraw(world.store, world.clinic_id, "en", [Kind.CALL_HEARD], NURSE, world.now) == 1
    assert waiting_bodies(world) == []
    world.now += timedelta(hours=12)
    world.tick()
    assert "call_heard" not in world.said()
    approve(world, "en", Kind.CALL_HEARD)
    world.tick()
    assert world.said().count("call_heard") == 1


def test_a_message_that_waits_is_said_in_the_new_wording(world: World) -> None:
    approve(world, "en")
    world.now = NOW.replace(hour=18, minute=30)
    world.enrol(agreed_at=NOW)
    world.tick()
    world.reply("please ring me", sid="in-1")
    assert waiting_bodies(world)
    texts.write_own(world.store, world.clinic_id, "en", Kind.CALL_HEARD, "{clinic}: We ring!", NURSE, world.now)
    world.tick()
    assert "Green Hill: We ring!" in waiting_bodies(world)
    assert not any("Somebody from the clinic will call" in body for body in waiting_bodies(world))


def test_a_message_that_was_handed_over_before_keeps_its_words_and_is_not_sent_as_a_draft(world: World) -> None:
    approve(world, "en")
    world.now = NOW.replace(hour=18, minute=30)
    world.enrol(agreed_at=NOW)
    world.reply("please ring me", sid="in-1")
    with world.store.begin() as connection:
        connection.execute(t.outbox.update().where(t.outbox.c.state == "queued").values(attempt=1))
    before = waiting_bodies(world)
    texts.write_own(world.store, world.clinic_id, "en", Kind.CALL_HEARD, "{clinic}: We ring!", NURSE, world.now)
    assert waiting_bodies(world) == before
    texts.withdraw(world.store, world.clinic_id, "en", [Kind.CALL_HEARD], NURSE, world.now)
    assert [row.state for row in world.rows(t.outbox, t.outbox.c.kind == "call_heard")] == ["withdrawn"]


def test_an_own_wording_is_sent_with_its_facts(world: World) -> None:
    approve(world, "en")
    own = "{clinic}: Hello! Blue toes? Ring {phone} today. {STOP} ends this."
    texts.write_own(world.store, world.clinic_id, "en", Kind.WELCOME, own, NURSE, world.now)
    world.enrol()
    world.tick()
    assert world.network.handed[0].body == "Green Hill: Hello! Blue toes? Ring +441134960001 today. STOP ends this."


def test_going_back_to_the_shipped_wording_undoes_an_own_one(world: World) -> None:
    texts.write_own(world.store, world.clinic_id, "en", Kind.THANKS, "{clinic}: Ta!", NURSE, world.now)
    approve(world, "en", Kind.THANKS)
    with world.store.read() as connection:
        text = next(text for text in texts_of(connection, world.clinic_id, "en") if text.kind is Kind.THANKS)
    assert (text.own, text.approved) == (False, True)
    assert len(world.rows(t.clinic_text)) == 2  # nothing is rewritten


def test_a_shipped_text_that_changes_is_a_draft_again(world: World) -> None:
    with world.store.begin() as connection:
        row = {"clinic_id": world.clinic_id, "language": "en", "kind": "thanks", "wording": "%(clinic)s: Cheers."}
        connection.execute(insert(t.clinic_text).values(**row, approved_by=NURSE, approved_at=NOW))
    with world.store.read() as connection:
        text = next(text for text in texts_of(connection, world.clinic_id, "en") if text.kind is Kind.THANKS)
    assert (text.approved, text.changed) == (False, True)


def test_a_text_or_language_that_is_no_longer_shipped_harms_nobody(world: World) -> None:
    approve(world, "en")
    with world.store.begin() as connection:
        for language, kind in (("tlh", "thanks"), ("en", "lullaby")):
            row = {"clinic_id": world.clinic_id, "language": language, "kind": kind, "wording": "x", "own": True}
            connection.execute(insert(t.clinic_text).values(**row, approved_by=NURSE, approved_at=NOW))
    world.enrol()
    world.tick()
    assert world.said() == ["welcome"]


def test_who_approved_what_and_when_is_kept(world: World) -> None:
    approve(world, "en", Kind.THANKS)
    (row,) = world.rows(t.clinic_text)
    assert (row.approved_by, row.approved_at, row.wording) == (NURSE, NOW, wording.shipped_wording(Kind.THANKS, "en"))


def test_approving_what_is_approved_changes_nothing(world: World) -> None:
    approve(world, "en")
    assert approve(world, "en") == 0
    assert len(world.rows(t.clinic_text)) == len(Kind)


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"by": "  "}, "your name is missing"),
        ({"by": "x" * 81}, "80 are the most"),
        ({"language": "tlh"}, "no texts in language 'tlh'"),
        ({"clinic_id": 99}, "there is no clinic 99"),
        ({"read": {Kind.THANKS: "%(clinic)s: Old words."}}, "has changed since you opened the page"),
    ],
)
def test_an_approval_that_names_nobody_or_nothing_is_refused_and_writes_nothing(
    world: World, changes: dict[str, object], complaint: str
) -> None:
    given = {
        "clinic_id": world.clinic_id,
        "language": "en",
        "read": shipped("en", Kind.THANKS),
        "by": NURSE,
        "now": NOW,
        **changes,
    }
    with pytest.raises(TextRefused, match=complaint):
        texts.approve(world.store, **given)  # type: ignore[arg-type]
    assert world.rows(t.clinic_text) == []


def test_an_own_wording_that_cannot_be_sent_is_refused_and_writes_nothing(world: World) -> None:
    with pytest.raises(TextRefused, match=r"lacks \{clinic\}"):
        texts.write_own(world.store, world.clinic_id, "en", Kind.THANKS, "Ta!", NURSE, NOW)
    assert world.rows(t.clinic_text) == []


def test_a_first_approval_leaves_alone_what_the_clinic_has_decided(world: World) -> None:
    approve(world, "en", Kind.THANKS)
    texts.withdraw(world.store, world.clinic_id, "en", [Kind.THANKS], NURSE, NOW)
    texts.approve_shipped(world.store, world.clinic_id, ["en"], NURSE, NOW)
    with world.store.read() as connection:
        assert [text.kind for text in texts_of(connection, world.clinic_id, "en") if not text.approved] == [Kind.THANKS]


def test_a_family_that_stopped_does_not_wait(world: World) -> None:
    world.enrol()
    world.reply("STOP", MOTHER)
    with world.store.read() as connection:
        assert waiting(connection, [world.clinic_id]) == {}
