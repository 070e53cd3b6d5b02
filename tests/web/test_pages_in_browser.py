"""The pages in a real browser: they fit, they are accessible, they need neither script nor mouse.

Accessibility is judged by axe-core, an outside tool, against WCAG 2.2 A and AA and its own best practices.
"""

from __future__ import annotations

import pytest
from in_browser import DESK, PHONE, faults, sticks_out
from playwright.sync_api import Browser, ViewportSize, expect
from practice_world import JUMA, LAYAN, MINA

PAGES = [
    "/calls",
    "/families",
    f"/family/{MINA}",
    "/texts",
    "/texts?clinic=riverside&language=ar",
    "/texts/riverside/ar/visit_reminder",
    "/sending",
    "/sending?clinic=hilltop",
    "/practice",
    f"/practice/{LAYAN}",
    "/programme",
    "/nowhere",
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_every_page_fits_and_is_accessible(chromium: Browser, unchanged: str, size: ViewportSize, scheme: str) -> None:
    # The content policy forbids the script that judges the page, so this one browser overlooks the policy.
    context = chromium.new_context(viewport=size, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    for path in PAGES:
        page.goto(unchanged + path)
        assert not sticks_out(page), path
        page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true })")
        assert not sticks_out(page), f"{path} with everything opened"
        assert faults(page) == [], path
    context.close()


def test_refused_forms_are_accessible_too(chromium: Browser, unchanged: str) -> None:
    context = chromium.new_context(viewport=PHONE, bypass_csp=True)
    page = context.new_page()
    page.goto(f"{unchanged}/practice/{LAYAN}")
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("textbox")).to_be_focused()
    assert faults(page) == []
    page.goto(f"{unchanged}/family/{MINA}")
    page.get_by_text("Came, or another day").first.click()
    page.get_by_label("Move it to").first.evaluate("field => { field.type = 'text'; field.value = '2026-02-30' }")
    page.get_by_role("button", name="Move the visit").first.click()
    expect(page.get_by_label("Move it to").first).to_have_value("2026-02-30")
    expect(page.get_by_label("Move it to").first).to_be_focused()
    assert not sticks_out(page)
    assert faults(page) == []
    context.close()


def test_a_call_is_recorded_without_script(chromium: Browser, address: str) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/calls")
    juma = page.locator(f"#child-{JUMA}")
    juma.get_by_text("With a note").click()
    juma.get_by_label("Note").fill("rings, nobody there")
    juma.get_by_role("button", name="No answer").click()
    expect(page.get_by_role("status")).to_contain_text("Recorded for Juma Telo: no answer.")
    expect(page.get_by_role("region", name="Called today, nothing new since (1)")).to_contain_text(
        "rings, nobody there"
    )
    context.close()


def test_a_practice_answer_reaches_the_call_list_without_script(chromium: Browser, address: str) -> None:
    context = chromium.new_context(viewport=DESK, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/practice/{JUMA}")
    page.get_by_role("button", name="8", exact=True).click()
    page.get_by_role("link", name="See it on the call list").click()
    expect(page.locator(f"#child-{JUMA}")).to_contain_text("Reported wear is low: 8 h")
    context.close()


def test_a_call_is_recorded_by_keyboard_alone(chromium: Browser, address: str) -> None:
    context = chromium.new_context(viewport=DESK)
    page = context.new_page()
    page.goto(f"{address}/calls?clinic=riverside")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    button = page.get_by_role("button", name="Spoke with the family")
    for _press in range(20):
        page.keyboard.press("Tab")
        if button.evaluate("element => element === document.activeElement"):
            break
    expect(button).to_be_focused()
    outline = button.evaluate("element => getComputedStyle(element).outlineWidth")
    assert outline == "3px"
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("spoke with the family")
    context.close()


def test_what_is_pressed_on_a_phone_is_large_enough_for_a_thumb(chromium: Browser, unchanged: str) -> None:
    """44 CSS px: WCAG 2.2, success criterion 2.5.5 (AAA), the size this house asks for on a phone."""
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    page = context.new_page()
    for path in ("/calls", f"/practice/{LAYAN}"):
        page.goto(unchanged + path)
        for button in page.locator("button:visible, nav a:visible").all():
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= 44, (path, button.inner_text())
    context.close()


def test_the_reply_box_of_an_arabic_phone_writes_from_the_right(chromium: Browser, unchanged: str) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{unchanged}/practice/{LAYAN}")
    ours, theirs = page.locator(".to-me").last.bounding_box(), page.locator(".from-me").last.bounding_box()
    assert ours is not None
    assert theirs is not None
    assert ours["x"] + ours["width"] > theirs["x"] + theirs["width"]
    context.close()


def test_on_paper_the_call_list_keeps_its_facts_and_drops_its_buttons(chromium: Browser, unchanged: str) -> None:
    context = chromium.new_context(viewport=DESK)
    page = context.new_page()
    page.goto(f"{unchanged}/calls")
    page.emulate_media(media="print")
    expect(page.locator(f"#child-{MINA}")).to_contain_text("Reported wear is low")
    assert page.locator("button:visible").count() == 0
    assert page.locator("nav:visible").count() == 0
    context.close()


def test_nothing_is_fetched_from_elsewhere(chromium: Browser, unchanged: str) -> None:
    context = chromium.new_context(viewport=DESK)
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    for path in PAGES:
        page.goto(unchanged + path)
    assert all(url.startswith(unchanged) for url in asked)
    assert [text for text in said if "404" not in text] == []
    context.close()
