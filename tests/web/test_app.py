"""Who may ask, what every answer carries, and what an error page says."""

import re
from pathlib import Path

import pytest
from practice_world import MINA, NOW, Desk, World
from werkzeug.routing import Rule

from bracewatch.store import Store
from bracewatch.web import app as app_module
from bracewatch.web.app import create_app, templates_folder

PLACES = {
    "child_id": MINA,
    "reply_id": 1,
    "visit_key": "first-fit",
    "gate": "step-down",
    "caregiver_id": 1,
    "clinic_key": "hilltop",
    "language": "en",
    "kind": "thanks",
    "stop_id": 1,
    "filename": "style.css",
}


def address(world: World, rule: Rule) -> str:
    with world.app.test_request_context():
        values = {name: PLACES[name] for name in rule.arguments}
        return str(world.app.url_map.bind("localhost").build(rule.endpoint, values, method=_method(rule)))


def _method(rule: Rule) -> str:
    return "POST" if "POST" in (rule.methods or ()) else "GET"


def test_without_a_practice_clinic_nothing_is_served(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="only the practice clinic is served"):
        create_app(Store(f"sqlite:///{tmp_path / 'x.sqlite3'}"), clock=lambda: NOW, secret="long enough", practice=None)


def test_an_empty_secret_is_refused(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'x.sqlite3'}")
    with pytest.raises(ValueError, match="at least 16 random characters"):
        create_app(store, clock=lambda: NOW, secret="", practice=Desk(store, NOW))


def test_the_first_page_is_the_call_list(world: World) -> None:
    answer = world.client.get("/")
    assert (answer.status_code, answer.location) == (302, "/calls")


def test_every_page_says_that_the_families_are_invented(world: World) -> None:
    for path in ("/calls", "/families", f"/family/{MINA}", "/texts", "/sending", "/practice", "/nowhere"):
        page = world.client.get(path).get_data(as_text=True)
        assert "Practice clinic: invented families, no message leaves this machine" in page, path


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8321", "localhost:8321", "[::1]:8321"])
def test_the_pages_open_by_the_names_of_this_machine(world: World, host: str) -> None:
    assert world.client.get("/calls", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["bracewatch.example", "127.0.0.1.example.org", "192.168.0.5", "localhost.example", "[::1"]
)
def test_any_other_host_name_is_refused(world: World, host: str) -> None:
    answer = world.client.get("/calls", headers={"Host": host})
    assert answer.status_code == 403
    assert "Mina" not in answer.get_data(as_text=True)


@pytest.mark.parametrize("remote", ["192.168.0.7", "8.8.8.8", "::ffff:10.0.0.1", ""])
def test_another_machine_is_refused(world: World, remote: str) -> None:
    answer = world.client.get("/calls", environ_base={"REMOTE_ADDR": remote})
    assert answer.status_code == 403
    assert "only on its own machine" in answer.get_data(as_text=True)


def test_every_answer_carries_the_protecting_headers(world: World) -> None:
    rules = list(world.app.url_map.iter_rules())
    answers = [world.client.open(address(world, rule), method=_method(rule)) for rule in rules]
    answers.append(world.client.get("/nowhere"))
    assert len(answers) > 10
    for answer in answers:
        where = answer.request.path
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy, where
        assert "unsafe" not in policy, where
        for part in ("object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'"):
            assert part in policy, where
        assert answer.headers["X-Content-Type-Options"] == "nosniff", where
        assert answer.headers["Referrer-Policy"] == "same-origin", where
        if not where.startswith("/static/"):
            assert answer.headers["Cache-Control"] == "no-store", where


def test_every_form_is_refused_without_its_token(world: World) -> None:
    posts = [rule for rule in world.app.url_map.iter_rules() if "POST" in (rule.methods or ())]
    assert len(posts) >= 6
    for rule in posts:
        answer = world.client.post(address(world, rule), data={"outcome": "spoke", "day": "2026-11-10", "body": "4"})
        assert answer.status_code == 400, rule
        assert "This page was open too long" in answer.get_data(as_text=True), rule
    assert "Not called yet" in world.get("/calls")


def test_a_page_that_was_open_too_long_gives_back_what_was_written(world: World) -> None:
    answer = world.client.post(
        f"/calls/{MINA}", data={"outcome": "spoke", "note": "Ring <after> four", "csrf_token": "old"}
    )
    assert "Ring &lt;after&gt; four" in answer.get_data(as_text=True)


def test_an_unknown_address_says_what_to_do(world: World) -> None:
    answer = world.client.get("/nowhere")
    assert answer.status_code == 404
    assert "Look it up under Families" in answer.get_data(as_text=True)


@pytest.mark.parametrize("path", ["/family/999", "/practice/999", "/family/999999999999999999999"])
def test_an_unknown_family_says_what_to_do(world: World, path: str) -> None:
    answer = world.client.get(path)
    assert answer.status_code == 404
    assert "Look it up under Families" in answer.get_data(as_text=True)


def test_a_form_that_is_too_long_is_refused_in_words(world: World) -> None:
    assert "That is too much text" in world.refused(f"/calls/{MINA}", 413, outcome="spoke", note="x" * 70_000)


def test_a_fault_of_ours_is_owned_up_to(world: World) -> None:
    world.app.config["PROPAGATE_EXCEPTIONS"] = False
    world.app.view_functions["clinic.calls"] = lambda: 1 / 0
    answer = world.client.get("/calls")
    assert answer.status_code == 500
    assert "Something went wrong on our side" in answer.get_data(as_text=True)


def test_pages_hold_no_script_and_no_style_of_their_own(world: World) -> None:
    """The content policy would block both without a word."""
    paths = ("/calls", "/families", f"/family/{MINA}", "/texts", "/sending", "/practice", f"/practice/{MINA}")
    for path in (*paths, "/texts/hilltop/en/thanks"):
        page = world.get(path).replace('<script src="/static/preview.js" defer></script>', "")
        assert not re.search(r"<script|<style|\sstyle=|\son\w+=|javascript:", page), path
        assert len(page) < 150_000


def test_the_templates_of_this_working_copy_are_found() -> None:
    assert (templates_folder() / "clinic" / "calls.html").is_file()


def test_the_templates_of_an_installed_wheel_are_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app_module, "__file__", str(tmp_path / "bracewatch" / "web" / "app.py"))
    shipped = tmp_path / "bracewatch" / "_shipped" / "templates"
    (shipped / "shared").mkdir(parents=True)
    (shipped / "shared" / "base.html").touch()
    assert templates_folder() == shipped


def test_missing_templates_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app_module, "__file__", str(tmp_path / "bracewatch" / "web" / "app.py"))
    with pytest.raises(RuntimeError, match="install Bracewatch again"):
        templates_folder()
