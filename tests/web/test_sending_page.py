"""The page of the sender: the stop switch, messages nobody can account for, states in words, cost."""

from datetime import timedelta
from typing import Any

import pytest
from practice_world import LAYAN, MINA, NOW, PHONES, World
from sqlalchemy import insert, select, update

from bracewatch.services import stopping
from bracewatch.store import tables as t

NURSE = "Sister Marigold"
HILLTOP = 1


def lose(world: World, child_id: int, state: str, since: timedelta, useful: timedelta = timedelta(days=1)) -> int:
    """A visit reminder to a family in that state, due that long ago; its number."""
    with world.store.begin() as connection:
        row = {
            "key": f"lost-{child_id}-{state}-{since}",
            "child_id": child_id,
            "caregiver_id": child_id,
            "kind": "visit_reminder",
            "asks": "coming",
            "language": "en",
            "phone": PHONES[child_id],
            "body": "Please bring the boots.",
            "parts": 1,
            "due_at": NOW - since,
            "doubted_at": NOW - since if state == "in_doubt" else None,
            "useful_until": NOW + useful,
            "state": state,
            "created_at": NOW - since,
        }
        return int(connection.execute(insert(t.outbox).values(row).returning(t.outbox.c.id)).scalar_one())


def rows(world: World, table: Any, *where: Any) -> list[Any]:
    with world.store.read() as connection:
        return list(connection.execute(select(table).where(*where).order_by(table.c.id)))


def fact(page: str, name: str) -> str:
    """A figure on the page."""
    return page.split(f"<dt>{name}</dt><dd>")[1].split("</dd>")[0]


# --- the stop switch


def test_while_nothing_is_stopped_the_page_says_that_messages_go_out(world: World) -> None:
    assert "▶ Messages go out" in world.get("/sending")
    assert "Sending is stopped" not in world.get("/calls")


def test_a_stop_is_told_on_every_page_with_who_and_why(world: World) -> None:
    page = world.press("/sending/stop", where="hilltop", why="Wrong day in the reminders", by=NURSE)
    assert "■ Stopped for Hilltop clinic" in page
    assert "▶ Messages go out" not in page
    for path in ("/calls", "/families", f"/family/{MINA}", "/texts", "/programme", f"/practice/{LAYAN}"):
        shown = world.get(path)
        assert "Sending is stopped for Hilltop clinic</b> since 24 Nov 2026, 12:00" in shown, path
        assert "Wrong day in the reminders." in shown, path
        assert NURSE in shown, path


def test_a_stop_for_all_clinics_is_one(world: World) -> None:
    world.press("/sending/stop", where="all", why="The network is down.", by=NURSE)
    assert "■ Stopped for all clinics" in world.get("/sending?clinic=riverside")
    (stop,) = rows(world, t.sending_stop)
    assert (stop.clinic_id, stop.cause, stop.stopped_by) == (None, "person", NURSE)


def test_another_clinics_stop_leaves_a_clinic_running(world: World) -> None:
    world.press("/sending/stop", where="hilltop", why="Wrong day", by=NURSE)
    assert "▶ Messages go out" in world.get("/sending?clinic=riverside")


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [({"by": " "}, "Your name is missing"), ({"why": ""}, "The reason is missing")],
)
def test_a_stop_without_a_name_or_a_reason_is_refused_and_keeps_what_was_typed(
    world: World, changes: dict[str, str], complaint: str
) -> None:
    form = {"where": "hilltop", "why": "Wrong day", "by": NURSE, **changes}
    page = world.refused("/sending/stop", 422, **form)
    assert complaint in page
    assert f'value="{form["why"]}"' in page
    assert rows(world, t.sending_stop) == []


def test_a_stop_for_a_clinic_there_is_not_is_refused(world: World) -> None:
    assert world.post("/sending/stop", where="elsewhere", why="x", by=NURSE).status_code == 404


def test_a_stop_is_lifted_by_a_name_and_a_tick(world: World) -> None:
    stop_id = stopping.stop_sending(world.store, clinic_id=None, why="Wrong day.", by=NURSE, now=NOW)
    page = world.press(f"/sending/stops/{stop_id}/lifted", by="Neema Vale", sure="yes")
    assert "▶ Messages go out" in page
    (stop,) = rows(world, t.sending_stop)
    assert (stop.lifted_by, stop.lifted_at) == ("Neema Vale", NOW)


@pytest.mark.parametrize(
    ("form", "complaint"), [({"by": NURSE}, "Tick that the reason is gone"), ({"sure": "yes"}, "Your name is missing")]
)
def test_a_stop_is_not_lifted_by_one_press_alone(world: World, form: dict[str, str], complaint: str) -> None:
    stop_id = stopping.stop_sending(world.store, clinic_id=None, why="Wrong day.", by=NURSE, now=NOW)
    assert complaint in world.refused(f"/sending/stops/{stop_id}/lifted", 422, **form)
    assert rows(world, t.sending_stop)[0].lifted_at is None


def test_a_stop_that_somebody_else_lifted_is_said(world: World) -> None:
    stop_id = stopping.stop_sending(world.store, clinic_id=None, why="Wrong day.", by=NURSE, now=NOW)
    stopping.lift_stop(world.store, stop_id, by=NURSE, now=NOW)
    page = world.refused(f"/sending/stops/{stop_id}/lifted", 422, by=NURSE, sure="yes")
    assert f"No stop {stop_id} stands" in page


def test_a_stop_by_a_fault_of_the_account_says_what_to_do_and_whom_to_tell(world: World) -> None:
    with world.store.begin() as connection:
        stop = {"cause": "account", "why": "The account was refused (20003).", "stopped_by": "the sender"}
        connection.execute(insert(t.sending_stop).values(**stop, stopped_at=NOW))
    page = world.get("/sending")
    assert "Tell whoever runs Bracewatch." in page
    assert "put right with the network first" in page
    assert "The account was refused (20003)." in page


def test_a_persons_stop_does_not_send_anybody_to_the_administrator(world: World) -> None:
    stopping.stop_sending(world.store, clinic_id=None, why="Wrong day.", by=NURSE, now=NOW)
    assert "Tell whoever runs Bracewatch" not in world.get("/sending")


# --- messages


def test_messages_are_counted_by_what_became_of_them(world: World) -> None:
    before = world.get("/sending?clinic=hilltop")
    lose(world, MINA, "unknown", timedelta(hours=20))
    lose(world, MINA, "in_doubt", timedelta(minutes=2))
    lose(world, MINA, "expired", timedelta(days=29))
    lose(world, MINA, "expired", timedelta(days=31))  # too long ago
    lose(world, MINA, "failed", timedelta(days=3))
    lose(world, LAYAN, "failed", timedelta(days=3))  # another clinic's
    page = world.get("/sending?clinic=hilltop")
    names = ("Unknown", "In doubt now", "Too late to help, not sent (30 days)", "Could not be sent (30 days)")
    assert [int(fact(page, name)) - int(fact(before, name)) for name in names] == [1, 1, 1, 1]


def test_a_message_nobody_can_account_for_is_shown_with_its_family_and_text(world: World) -> None:
    lose(world, MINA, "unknown", timedelta(hours=20))
    lose(world, LAYAN, "in_doubt", timedelta(minutes=11))
    page = world.get("/sending")
    assert "Arrived or not? (2)" in page
    assert "Please bring the boots." in page
    assert "23 Nov 2026, 16:00 in Hilltop clinic" in page
    assert "ليان سمرة" in page


def test_a_message_that_is_still_being_looked_up_is_left_alone(world: World) -> None:
    lose(world, MINA, "in_doubt", timedelta(minutes=9))
    page = world.get("/sending")
    assert "Arrived or not? (0)" in page
    assert "None: of every message that was handed over" in page


def test_a_message_that_arrived_is_settled(world: World) -> None:
    message = lose(world, MINA, "unknown", timedelta(hours=20))
    page = world.press("/sending/messages", by=NURSE, arrived=str(message))
    assert "Noted: the message arrived." in page
    (row,) = rows(world, t.outbox, t.outbox.c.id == message)
    assert (row.state, row.settled_by, row.settled_at) == ("sent", NURSE, NOW)


def test_a_message_that_did_not_arrive_is_sent_again_only_while_it_helps(world: World) -> None:
    useful = lose(world, MINA, "unknown", timedelta(hours=20))
    late = lose(world, MINA, "unknown", timedelta(hours=30), useful=-timedelta(hours=1))
    for message in (useful, late):
        world.press("/sending/messages", by=NURSE, lost=str(message))
    states = {row.id: row.state for row in rows(world, t.outbox, t.outbox.c.id.in_([useful, late]))}
    assert states[late] == "expired"
    assert states[useful] in ("queued", "sent")  # the practice desk sends at once


def test_without_a_name_nothing_is_settled(world: World) -> None:
    message = lose(world, MINA, "unknown", timedelta(hours=20))
    assert "Your name is missing" in world.refused("/sending/messages", 422, by="", arrived=str(message))
    assert rows(world, t.outbox, t.outbox.c.id == message)[0].state == "unknown"


def test_what_is_settled_already_is_not_settled_twice(world: World) -> None:
    message = lose(world, MINA, "unknown", timedelta(hours=20))
    world.press("/sending/messages", by=NURSE, arrived=str(message))
    assert "look again" in world.refused("/sending/messages", 422, by=NURSE, lost=str(message))
    assert rows(world, t.outbox, t.outbox.c.id == message)[0].state == "sent"


@pytest.mark.parametrize("form", [{}, {"arrived": "999999"}, {"lost": "x"}])
def test_a_message_there_is_not_cannot_be_settled(world: World, form: dict[str, str]) -> None:
    assert world.post("/sending/messages", by=NURSE, **form).status_code == 404


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"delivery": "delivered"}, "· delivered ·"),
        ({"delivery": "read"}, "· delivered and read ·"),
        ({"delivery": "sending"}, "· sent ·"),
        ({"delivery": "undelivered", "delivery_code": "30005"}, "not delivered: this number cannot be reached (30005)"),
        ({"delivery": "failed", "delivery_code": "99"}, "· not delivered (99) ·"),
        (
            {"state": "failed", "error": "21610"},
            "could not be sent: this number asked the network for no more messages",
        ),
        ({"state": "queued", "error": "30003"}, "waiting to be sent; the last try did not get through"),
        ({"state": "in_doubt"}, "in doubt: perhaps sent, being looked up"),
        ({"state": "unknown"}, "unknown: nobody could find out whether it was sent"),
        ({"state": "expired"}, "not sent, its time had passed"),
        ({"state": "withdrawn"}, "taken back, not sent"),
    ],
)
def test_a_family_page_says_in_plain_words_what_became_of_each_message(
    world: World, values: dict[str, str], said: str
) -> None:
    assert said not in world.get(f"/family/{MINA}") or said == "· sent ·"
    with world.store.begin() as connection:
        last = select(t.outbox.c.id).where(t.outbox.c.child_id == MINA, t.outbox.c.state == "sent")
        message = connection.execute(last.order_by(t.outbox.c.sent_at.desc()).limit(1)).scalar_one()
        connection.execute(update(t.outbox).where(t.outbox.c.id == message).values(**values))
    assert said in world.get(f"/family/{MINA}")


# --- cost


def test_without_a_price_the_parts_are_counted_and_the_page_says_how_to_enter_one(world: World) -> None:
    page = world.get("/sending?clinic=hilltop")
    assert "No price of a part is known" in page
    assert '<th scope="row">November 2026</th>' in page
    assert "Estimate" not in page


def test_with_a_price_every_month_family_and_message_has_an_estimate(world: World) -> None:
    page = world.press("/sending/price/hilltop", price="0.80", currency="kes")
    sent = rows(world, t.outbox, t.outbox.c.sent_at.is_not(None))
    with world.store.read() as connection:
        here = set(connection.execute(select(t.child.c.id).where(t.child.c.clinic_id == HILLTOP)).scalars())
    parts = sum(row.parts for row in sent if row.child_id in here)
    minas = sum(row.parts for row in sent if row.child_id == MINA)
    assert f'<td class="number">KES {parts * 0.8:.2f}</td>' in page
    assert "price per part as entered by the clinic; the network’s bill decides" in page
    family = world.get(f"/family/{MINA}")
    assert f"{minas} parts: about KES {minas * 0.8:.2f}, an estimate" in family
    assert "1 part, about KES 0.80" in family
    assert "KES" not in world.get(f"/family/{LAYAN}")  # another clinic's


def test_a_price_that_is_none_is_refused_and_kept_in_its_field(world: World) -> None:
    page = world.refused("/sending/price/hilltop", 422, price="cheap", currency="KSH")
    assert "“cheap” is no price of one part" in page
    assert "“KSH” is no currency" in page
    assert 'value="cheap"' in page


def test_all_clinics_together_have_no_cost_for_each_has_its_own_price(world: World) -> None:
    assert "choose one above" in world.get("/sending")
    assert world.client.get("/sending?clinic=elsewhere").status_code == 404
    assert world.post("/sending/price/elsewhere", price="1", currency="KES").status_code == 404


def test_an_empty_program_can_be_stopped_all_the_same(empty_world: World) -> None:
    assert "▶ Messages go out" in empty_world.get("/sending")
