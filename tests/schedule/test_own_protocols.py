"""A clinic's own protocols, from a folder."""

from pathlib import Path

import pytest

from bracewatch.schedule import protocol
from bracewatch.schedule.protocol import ProtocolError, available
from bracewatch.schedule.rehearsing import load_rehearsed

SHIPPED = protocol.shipped("nights-to-four").text


def put(folder: Path, name: str, protocol_id: str, *changes: tuple[str, str]) -> None:
    text = SHIPPED
    for right, wrong in (('id = "nights-to-four"', f'id = "{protocol_id}"'), *changes):
        assert right in text
        text = text.replace(right, wrong, 1)
    (folder / name).write_text(text, encoding="utf-8")


def test_without_a_folder_there_are_the_shipped_ones() -> None:
    assert tuple(available(None)) == protocol.shipped_ids()


def test_those_of_the_folder_come_after_the_shipped_ones(tmp_path: Path) -> None:
    put(tmp_path, "b.toml", "second")
    put(tmp_path, "a.toml", "first")
    (tmp_path / "notes.txt").write_text("no protocol")
    found = available(tmp_path)
    assert tuple(found) == (*protocol.shipped_ids(), "first", "second")
    assert found["first"].id == "first"


def test_a_mark_that_some_editors_put_in_front_does_no_harm(tmp_path: Path) -> None:
    put(tmp_path, "a.toml", "first")
    file = tmp_path / "a.toml"
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes())
    assert "first" in available(tmp_path)


def test_every_faulty_file_is_named_at_once(tmp_path: Path) -> None:
    put(tmp_path, "a.toml", "first", ("version = 1", "version = 0"), ("[23, 23]", "[23, 25]"))
    put(tmp_path, "b.toml", "nights-to-four")
    put(tmp_path, "c.toml", "third")
    put(tmp_path, "d.toml", "third")
    (tmp_path / "e.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "f.toml").mkdir()
    with pytest.raises(ProtocolError) as caught:
        available(tmp_path)
    assert [fault.split(":")[0] for fault in caught.value.faults] == [f"{name}.toml" for name in "aabdef"]
    said = str(caught.value)
    assert "b.toml: id: 'nights-to-four' comes with the program" in said
    assert "d.toml: id: 'third' stands in c.toml too" in said
    assert "e.toml: not UTF-8 text" in said


def test_a_faulty_folder_changes_nothing_for_the_shipped_ones(tmp_path: Path) -> None:
    put(tmp_path, "a.toml", "first", ("version = 1", "version = 0"))
    with pytest.raises(ProtocolError):
        available(tmp_path)
    assert tuple(available(None)) == protocol.shipped_ids()


def test_files_are_read_with_the_reader_that_is_given(tmp_path: Path) -> None:
    put(tmp_path, "a.toml", "first", ('after = "P3M"', 'after = "P2Y"'))
    assert "first" in available(tmp_path)
    with pytest.raises(ProtocolError, match=r"a\.toml: variant\.0\.visit\.1: decides"):
        available(tmp_path, load_rehearsed)


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ProtocolError, match="no such folder"):
        available(tmp_path / "none")


def test_the_entries_that_are_allowed_are_named_where_one_is_not() -> None:
    for right, wrong, said in [
        ("version = 1", "version = 1\ntext = 'mine'", "text: there is no such entry here; there are id, version"),
        ("[contact]", "[contact]\nfax = 1", "contact.fax: there is no such entry here; there are first_check_in"),
        ('key = "first-fit"', 'key = "first-fit"\nroom = 1', "variant.0.visit.0.room: .* there are key, name, after"),
    ]:
        with pytest.raises(ProtocolError, match=said):
            protocol.parse(SHIPPED.replace(right, wrong, 1), "file")
