"""Texts, the stop switch and unknown messages, used in a real browser as a nurse would."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from in_browser import DESK, PHONE, faults, served, sticks_out
from playwright.sync_api import Browser, ViewportSize, expect
from practice_world import MINA, NOW, World, open_world
from sqlalchemy import insert

from bracewatch.messages.kinds import Kind
from bracewatch.services import texts
from bracewatch.store import tables as t

NURSE = "Sister Marigold"


@pytest.fixture
def address(world: World) -> Iterator[str]:
    """A clinic with a text taken back, a message nobody can account for, and a fault of the account."""
    texts.withdraw(world.store, 1, "sw", [Kind.THANKS, Kind.HELP], NURSE, NOW)
    with world.store.begin() as connection:
        lost = {"key": "lost", "child_id": MINA, "caregiver_id": MINA, "kind": "visit_reminder", "asks": "coming"}
        lost |= {"language": "en", "phone": "+442079460101", "body": "Please bring the boots.", "parts": 1}
        times = {"due_at": NOW - timedelta(hours=20), "useful_until": NOW, "created_at": NOW - timedelta(hours=20)}
        connection.execute(insert(t.outbox).values(**lost, **times, state="unknown"))
    with served(open_world(Path(str(world.store.url.database)))) as at:
        yield at


def test_drafts_are_read_and_approved_without_script(chromium: Browser, address: str) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/calls")
    page.get_by_role("link", name="Read and approve them").click()
    expect(page.locator("#thanks")).to_contain_text("Draft, not sent")
    page.get_by_label("Your name").fill(NURSE)
    page.get_by_role("button", name=re.compile("^Approve ?: Thanks")).click()
    expect(page.get_by_role("status")).to_contain_text("Approved: 1 text is sent from now on.")
    expect(page.locator("#thanks")).to_contain_text("Approved, by Sister Marigold on 24 Nov 2026")
    expect(page.get_by_label("Your name")).to_have_value(NURSE)  # it need not be typed again
    page.get_by_role("button", name="I have read them: approve the draft below").click()
    expect(page.get_by_text("families wait")).to_have_count(0)
    expect(page.get_by_text("Draft, not sent")).to_have_count(0)
    context.close()


def test_the_browser_asks_for_a_name_before_anything_is_approved(chromium: Browser, address: str) -> None:
    page = chromium.new_page(viewport=DESK)
    page.goto(f"{address}/texts?clinic=hilltop&language=sw")
    page.get_by_role("button", name=re.compile("^Approve ?: Thanks")).click()
    expect(page.get_by_label("Your name")).to_be_focused()
    expect(page.locator("#thanks")).to_contain_text("Draft, not sent")
    page.close()


def test_an_own_wording_is_counted_while_it_is_typed(chromium: Browser, address: str) -> None:
    page = chromium.new_page(viewport=DESK)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(f"{address}/texts/hilltop/en/thanks")
    shown = page.locator("#preview")
    page.get_by_label("The text").fill("{clinic}: Thanks a lot!")
    expect(shown).to_contain_text("Hilltop clinic: Thanks a lot!")
    expect(shown).to_contain_text("GSM-7, 29 units, 1 part")
    page.get_by_label("The text").fill("Thanks a lot!")
    expect(shown).to_contain_text("The text lacks {clinic}")
    page.get_by_label("The text").fill("{clinic}: Thank you, it helps. " + "x" * 140)
    expect(shown).to_contain_text("2 parts")
    assert complaints == []
    page.close()


def test_an_own_wording_is_looked_at_kept_and_undone_without_script(chromium: Browser, address: str) -> None:
    context = chromium.new_context(viewport=DESK, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/texts/hilltop/en/thanks")
    page.get_by_label("The text").fill("{clinic}: Thanks a lot!")
    page.get_by_role("button", name="Preview").click()  # needs no name
    expect(page.locator("#preview")).to_contain_text("Hilltop clinic: Thanks a lot!")
    page.get_by_label("Your name").fill(NURSE)
    page.get_by_role("button", name="Send this wording from now on").click()
    expect(page.locator("#thanks")).to_contain_text("the clinic’s own wording")
    page.get_by_role("button", name=re.compile("^Go back to the shipped wording ?: Thanks")).click()
    expect(page.locator("#thanks")).to_contain_text("Thank you for your answer")
    expect(page.locator("#thanks")).not_to_contain_text("own wording, by")
    context.close()


def test_an_arabic_text_is_written_from_the_right(chromium: Browser, address: str) -> None:
    page = chromium.new_page(viewport=DESK)
    page.goto(f"{address}/texts/riverside/ar/thanks")
    box = page.get_by_label("The text")
    assert box.evaluate("box => getComputedStyle(box).direction") == "rtl"
    page.close()


def test_sending_is_stopped_and_started_again_by_keyboard_alone(chromium: Browser, address: str) -> None:
    page = chromium.new_page(viewport=DESK)
    page.goto(f"{address}/sending")
    page.get_by_label("For", exact=True).focus()
    for typed in ("Hill", NURSE, "Wrong day"):  # a clinic by its first letters, who, and why
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Stop sending")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Stopped for Hilltop clinic")).to_be_visible()
    page.goto(f"{address}/calls")
    expect(page.get_by_text("Sending is stopped for Hilltop clinic")).to_be_visible()
    page.get_by_role("link", name="See what waits").press("Enter")
    page.get_by_role("button", name="Start sending again").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Tick that the reason is gone")
    page.get_by_label("The reason is gone").press("Space")
    page.get_by_role("button", name="Start sending again").press("Enter")
    expect(page.get_by_role("heading", name="Messages go out")).to_be_visible()
    page.goto(f"{address}/calls")
    expect(page.get_by_text("Sending is stopped")).to_have_count(0)
    page.close()


def test_somebody_says_that_a_message_arrived(chromium: Browser, address: str) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/sending")
    expect(page.get_by_role("heading", name="Arrived or not? (1)")).to_be_visible()
    page.locator("#settle-by").fill(NURSE)
    page.get_by_role("button", name=re.compile("^It arrived ?: Mina Aroko")).click()
    expect(page.get_by_role("status")).to_contain_text("Noted: the message arrived.")
    expect(page.get_by_role("heading", name="Arrived or not? (0)")).to_be_visible()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_stopped_refused_and_priced_pages_fit_and_are_accessible(
    chromium: Browser, address: str, size: ViewportSize, scheme: str
) -> None:
    # The content policy forbids the script that judges the page, so this one browser overlooks the policy.
    context = chromium.new_context(viewport=size, color_scheme=scheme, bypass_csp=True)  # type: ignore[arg-type]
    page = context.new_page()

    def judged(what: str) -> None:
        page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true })")
        assert not sticks_out(page), what
        assert faults(page) == [], what

    page.goto(f"{address}/sending?clinic=hilltop")
    page.get_by_label("Price of one part").fill("0.80")
    page.get_by_label("Currency").fill("KES")
    page.get_by_role("button", name="Keep the price").click()
    judged("a price")
    page.get_by_role("button", name="Stop sending").click()
    expect(page.get_by_role("alert")).to_contain_text("The reason is missing")
    judged("a refused stop")
    page.get_by_label("Why").fill("Wrong day")
    page.locator("#stop-by").fill(NURSE)
    page.get_by_role("button", name="Stop sending").click()
    judged("a stop")
    page.goto(f"{address}/calls")
    judged("the calls while a stop stands")
    page.goto(f"{address}/texts?clinic=hilltop&language=sw")
    judged("drafts")
    page.goto(f"{address}/texts/hilltop/sw/thanks")
    page.get_by_label("The text").fill("Asante")
    page.get_by_label("Your name").fill(NURSE)
    page.get_by_role("button", name="Send this wording from now on").click()
    expect(page.get_by_role("alert")).to_contain_text("lacks {clinic}")
    judged("a refused wording")
    context.close()


def test_on_paper_the_texts_keep_their_words_and_drop_their_buttons(chromium: Browser, address: str) -> None:
    page = chromium.new_page(viewport=DESK)
    page.goto(f"{address}/texts?clinic=hilltop&language=sw")
    page.emulate_media(media="print")
    expect(page.locator("#thanks")).to_contain_text("Draft, not sent")
    assert page.locator("button:visible").count() == 0
    page.close()


def test_what_is_pressed_on_a_phone_is_large_enough_for_a_thumb(chromium: Browser, address: str) -> None:
    """44 CSS px: WCAG 2.2, success criterion 2.5.5 (AAA), the size this house asks for on a phone."""
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    page = context.new_page()
    for path in ("/texts", "/texts/hilltop/sw/thanks", "/sending"):
        page.goto(address + path)
        for button in page.locator("button:visible, nav a:visible").all():
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= 44, (path, button.inner_text())
    context.close()
