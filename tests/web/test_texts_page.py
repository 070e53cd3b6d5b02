"""The page of the texts: read side by side, approved by a named person, taken back, worded anew."""

import html
import re

import pytest
from practice_world import JUMA, NEW, NOW, World
from sqlalchemy import select

from bracewatch.messages import wording
from bracewatch.messages.kinds import Kind
from bracewatch.services import prices, texts
from bracewatch.store import tables as t
from bracewatch.web.texts import PURPOSES

NURSE = "Sister Marigold"
HILLTOP = 1


def take_back(world: World, language: str, *kinds: Kind) -> None:
    texts.withdraw(world.store, HILLTOP, language, list(kinds or Kind), NURSE, NOW)


def article(page: str, kind: Kind) -> str:
    found = re.search(rf'<article[^>]*id="{kind.value}".*?</article>', page, re.DOTALL)
    assert found
    return html.unescape(found[0])


def approvals(world: World) -> int:
    with world.store.read() as connection:
        return len(connection.execute(select(t.clinic_text)).all())


def read_form(language: str, *kinds: Kind) -> dict[str, str]:
    return {f"read-{kind.value}": wording.shipped_wording(kind, language) for kind in kinds}


def test_every_kind_has_a_name_and_a_purpose() -> None:
    assert list(PURPOSES) == list(Kind)


def test_each_text_stands_beside_english_as_the_family_would_see_it(world: World) -> None:
    shown = article(world.get("/texts?clinic=hilltop&language=sw"), Kind.VISIT_REMINDER)
    assert "Hilltop clinic: Your visit is on Tuesday 8 December." in shown
    assert 'lang="sw"' in shown
    assert "Jumanne" in shown
    assert "%(" not in shown
    assert "GSM-7, " in shown
    assert "✓ Approved" in shown


def test_a_language_can_be_read_beside_another_and_alone(world: World) -> None:
    shown = article(world.get("/texts?clinic=hilltop&language=sw&beside=hi"), Kind.THANKS)
    assert 'lang="hi"' in shown
    assert 'lang="en"' not in shown
    assert article(world.get("/texts?clinic=hilltop&language=en"), Kind.THANKS).count('class="bubble"') == 1


def test_right_to_left_texts_are_shown_right_to_left(world: World) -> None:
    shown = article(world.get("/texts?clinic=riverside&language=ar"), Kind.THANKS)
    assert 'lang="ar" dir="rtl"' in shown
    assert 'lang="en" dir="ltr"' in shown


def test_drafts_are_counted_and_the_families_who_wait_are_told_on_every_clinic_page(world: World) -> None:
    take_back(world, "sw", Kind.WELCOME, Kind.HELP)
    for path in ("/calls", "/families", f"/family/{JUMA}", "/texts?clinic=hilltop&language=sw"):
        page = world.get(path)
        assert "1 family waits: not all texts in" in page, path
        assert "Hilltop clinic has 2 drafts, and drafts are not sent." in page, path
    assert "approve all 2 drafts" in page
    assert f"Taken back by <bdi>{NURSE}</bdi>" in article(page, Kind.HELP)


def test_nobody_waits_for_a_language_that_no_family_reads_or_when_all_is_approved(world: World) -> None:
    assert "waits: not all texts" not in world.get("/calls")
    take_back(world, "ar")  # a clinic none of whose families reads Arabic
    assert "waits: not all texts" not in world.get("/calls")


def test_a_draft_is_approved_by_name_and_sent_from_then_on(world: World) -> None:
    take_back(world, "sw")
    page = world.press("/texts/hilltop/sw", by="Neema  Vale", approve="thanks", **read_form("sw", Kind.THANKS))
    assert "Approved: 1 text is sent from now on." in page
    assert "✓ Approved</b>, by <bdi>Neema Vale</bdi> on 24 Nov 2026" in article(page, Kind.THANKS)
    assert "○ Draft, not sent" in article(page, Kind.HELP)


def test_all_that_were_shown_are_approved_at_once(world: World) -> None:
    take_back(world, "sw")
    page = world.press("/texts/hilltop/sw", by=NURSE, **read_form("sw", *Kind))
    assert f"Approved: {len(Kind)} texts are sent from now on." in page
    assert "Draft, not sent" not in page


def test_without_a_name_nothing_is_approved_and_the_form_says_so(world: World) -> None:
    take_back(world, "sw")
    before = approvals(world)
    page = world.refused("/texts/hilltop/sw", 422, by=" ", approve="thanks", **read_form("sw", Kind.THANKS))
    assert "Your name is missing: texts are approved by a named person at the clinic." in page
    assert approvals(world) == before


def test_a_text_that_changed_since_it_was_read_is_not_approved(world: World) -> None:
    take_back(world, "sw")
    before = approvals(world)
    page = world.refused("/texts/hilltop/sw", 422, by=NURSE, approve="thanks", **{"read-thanks": "%(clinic)s: Old."})
    assert "has changed since you opened the page: read it again" in page
    assert world.refused("/texts/hilltop/sw", 422, by=NURSE, approve="thanks")  # nothing was read
    assert approvals(world) == before


def test_a_line_end_as_browsers_send_it_is_no_change(world: World) -> None:
    take_back(world, "sw")
    own = "{clinic}: Asante!\nKaribu."
    texts.write_own(world.store, HILLTOP, "sw", Kind.THANKS, own, NURSE, NOW)
    take_back(world, "sw", Kind.HELP)
    form = {"read-thanks": "%(clinic)s: Asante!\r\nKaribu."}
    assert "Approved: 0 texts are sent" in world.press("/texts/hilltop/sw", by=NURSE, approve="thanks", **form)


def test_an_approval_is_taken_back(world: World) -> None:
    page = world.press("/texts/hilltop/en", by=NURSE, withdraw="thanks")
    assert "Taken back: the text is a draft again" in page
    assert "○ Draft, not sent" in article(page, Kind.THANKS)


def test_an_own_wording_is_looked_at_then_kept_then_undone(world: World) -> None:
    own = {"wording": "{clinic}: Thanks a lot!", "by": NURSE}
    seen = world.press("/texts/hilltop/en/thanks", do="preview", **own)
    assert "Hilltop clinic: Thanks a lot!" in seen
    assert "GSM-7, 29 units, 1 part" in seen
    kept = article(world.press("/texts/hilltop/en/thanks", do="keep", **own), Kind.THANKS)
    assert "Hilltop clinic: Thanks a lot!" in kept
    assert "the clinic’s own wording" in kept
    back = {"shipped": "thanks", "shipped-thanks": wording.shipped_wording(Kind.THANKS, "en")}
    undone = article(world.press("/texts/hilltop/en", by=NURSE, **back), Kind.THANKS)
    assert "Thank you for your answer" in undone
    assert "own wording</b>" not in undone
    assert "✓ Approved" in undone


def test_an_own_wording_that_cannot_be_sent_keeps_what_was_typed_and_says_why(world: World) -> None:
    page = world.refused("/texts/hilltop/en/thanks", 422, do="keep", by=NURSE, wording="Thanks, <b>all</b>!")
    assert "The text lacks {clinic}. It needs {clinic} and no other." in page
    assert "Thanks, &lt;b&gt;all&lt;/b&gt;!</textarea>" in page


def test_looking_at_a_wording_writes_nothing(world: World) -> None:
    before = approvals(world)
    world.press("/texts/hilltop/en/thanks", do="preview", wording="{clinic}: Ta!", by=NURSE)
    piece = world.press("/texts/hilltop/en/thanks/preview", wording="{clinic}: " + "x" * 400)
    assert "It takes 3 parts" in piece
    assert "<html" not in piece
    assert approvals(world) == before


def test_the_estimated_cost_stands_beside_a_text_once_there_is_a_price(world: World) -> None:
    assert "enter the price of a part" in world.get("/texts?clinic=hilltop&language=en")
    prices.set_part_price(world.store, HILLTOP, "0.80", "KES")
    page = world.get("/texts?clinic=hilltop&language=en")
    assert "2 parts, about KES 1.60 a message" in article(page, Kind.WELCOME)
    assert "Costs are estimates" in page


@pytest.mark.parametrize(
    "path",
    [
        "/texts?clinic=elsewhere",
        "/texts?language=tlh",
        "/texts?beside=tlh",
        "/texts/elsewhere/en/thanks",
        "/texts/hilltop/tlh/thanks",
        "/texts/hilltop/en/lullaby",
    ],
)
def test_a_text_that_does_not_exist_is_not_guessed_at(world: World, path: str) -> None:
    assert world.client.get(path).status_code == 404


def test_nothing_unknown_can_be_approved(world: World) -> None:
    assert world.post("/texts/hilltop/en", by=NURSE, approve="lullaby").status_code == 404
    assert world.post("/texts/hilltop/tlh", by=NURSE, approve="thanks").status_code == 404
    assert world.post("/texts/elsewhere/en", by=NURSE, approve="thanks").status_code == 404


def test_an_empty_program_says_that_there_is_no_clinic(empty_world: World) -> None:
    assert "There is no clinic yet" in empty_world.get("/texts")


def test_a_family_hears_nothing_of_a_draft_and_all_of_it_once_approved(world: World) -> None:
    take_back(world, "en")
    world.desk.to_next_morning()
    world.post(f"/practice/{NEW}/reply", body="please ring me")
    assert "ring you" not in world.get(f"/practice/{NEW}").split("From the clinic")[0]
    with world.store.read() as connection:
        query = select(t.outbox.c.kind).where(t.outbox.c.child_id == NEW, t.outbox.c.kind == "call_heard")
        assert connection.execute(query).all() == []
    world.press("/texts/hilltop/en", by=NURSE, **read_form("en", *Kind))
    with world.store.read() as connection:
        assert len(connection.execute(query).all()) == 1
