"""The check against an API description, on a description invented here: it must find what is wrong, and only that."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from api_description import VARIABLE, _description, fault_in

FORM = {"type": "object", "required": ["To"], "properties": {"To": {"type": "string"}, "Days": {"type": "integer"}}}
DESCRIPTION = {
    "openapi": "3.0.1",
    "info": {"title": "invented", "version": "1"},
    "servers": [{"url": "https://network.example"}],
    "paths": {
        "/messages": {
            "post": {
                "requestBody": {"content": {"application/x-www-form-urlencoded": {"schema": FORM}}},
                "responses": {"201": {"description": "made"}},
            }
        }
    },
}
HEADERS = {"Content-Type": "application/x-www-form-urlencoded", "Host": "127.0.0.1:1"}


@pytest.fixture
def described(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    (tmp_path / "api.json").write_text(json.dumps(DESCRIPTION))
    monkeypatch.setenv(VARIABLE, str(tmp_path / "api.json"))
    _description.cache_clear()
    yield
    _description.cache_clear()


@pytest.mark.usefixtures("described")
def test_a_request_that_keeps_to_the_description_has_no_fault() -> None:
    assert fault_in("POST", "/messages", HEADERS, b"To=me&Days=3") is None


@pytest.mark.usefixtures("described")
@pytest.mark.parametrize(
    ("method", "path", "form"),
    [("POST", "/messages", b"To=me&Days=some"), ("POST", "/messages", b"Days=3"), ("GET", "/messages", b"")],
)
def test_a_request_that_breaks_the_description_has_one(method: str, path: str, form: bytes) -> None:
    assert fault_in(method, path, HEADERS, form)
