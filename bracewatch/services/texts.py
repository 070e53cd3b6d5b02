"""A named person at a clinic approves its texts, takes that back, or words one anew."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select, update

from bracewatch.messages import wording as words
from bracewatch.messages.kinds import Kind
from bracewatch.messages.languages import LANGUAGES
from bracewatch.services.approved import Text, texts_of
from bracewatch.services.inbox import answer_late
from bracewatch.store import Store
from bracewatch.store import tables as t

LONGEST_NAME = 80


class TextRefused(ValueError):
    """A text could not be approved or written. `faults` names everything that is wrong, and what to do."""

    def __init__(self, faults: Collection[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(self.faults))


def approve(store: Store, clinic_id: int, language: str, read: Mapping[Kind, str], by: str, now: datetime) -> int:
    """Approve the wordings that somebody has read, word for word; how many were not approved before.

    A wording is the shipped one or the clinic's own as it stands. Raises TextRefused when one is neither: the text
    changed since it was read. All are approved or none.
    """
    with store.begin() as connection:
        by, present = _begin(connection, clinic_id, language, by)
        faults = [
            f"the text “{kind.value}” has changed since you opened the page: read it again"
            for kind, wording in read.items()
            if wording not in (present[kind].wording, present[kind].shipped)
        ]
        if faults:
            raise TextRefused(faults)
        new = {
            kind: (wording, wording != present[kind].shipped)
            for kind, wording in read.items()
            if not (present[kind].approved and present[kind].wording == wording)
        }
        _say(connection, clinic_id, language, new, by, now)
    return len(new)


def withdraw(store: Store, clinic_id: int, language: str, kinds: Collection[Kind], by: str, now: datetime) -> int:
    """Make texts drafts again: what waits in the outbox is taken back; how many were approved. An own wording
    is given up: the shipped one is what can be approved next. Raises TextRefused."""
    with store.begin() as connection:
        by, present = _begin(connection, clinic_id, language, by)
        new = {kind: ("", False) for kind in kinds if present[kind].approved}
        _say(connection, clinic_id, language, new, by, now)
    return len(new)


def write_own(store: Store, clinic_id: int, language: str, kind: Kind, typed: str, by: str, now: datetime) -> None:
    """Send the clinic's own wording of a text from now on. Whoever writes it has read it: it is approved.

    `typed` has its placeholders in braces, as in "{clinic}: Thank you." Raises TextRefused with what is wrong.
    """
    with store.begin() as connection:
        by, present = _begin(connection, clinic_id, language, by)
        wording = words.from_braces(typed)
        clinic = connection.execute(select(t.clinic).where(t.clinic.c.id == clinic_id)).one()
        faults = words.faults_in_wording(kind, wording, language=language, clinic=clinic.name, phone=clinic.phone)
        if faults:
            raise TextRefused(faults)
        _say(connection, clinic_id, language, {kind: (wording, wording != present[kind].shipped)}, by, now)


def approve_shipped(store: Store, clinic_id: int, languages: Collection[str], by: str, now: datetime) -> None:
    """Approve every shipped text of those languages that the clinic has never said anything about."""
    for language in languages:
        with store.read() as connection:
            new = {text.kind: text.shipped for text in texts_of(connection, clinic_id, language) if text.said is None}
        if new:
            approve(store, clinic_id, language, new, by, now)


def _begin(connection: Connection, clinic_id: int, language: str, by: str) -> tuple[str, dict[Kind, Text]]:
    """The name as it is kept, and the texts as they stand. Raises TextRefused for no name, clinic or language."""
    by = " ".join(by.split())
    faults = []
    if not by:
        faults.append("your name is missing: texts are approved by a named person at the clinic")
    if len(by) > LONGEST_NAME:
        faults.append(f"the name has {len(by)} characters: {LONGEST_NAME} are the most")
    if language not in LANGUAGES:
        faults.append(f"no texts in language {language!r}: shipped are {', '.join(LANGUAGES)}")
    if connection.execute(select(t.clinic.c.id).where(t.clinic.c.id == clinic_id)).one_or_none() is None:
        faults.append(f"there is no clinic {clinic_id}")
    if faults:
        raise TextRefused(faults)
    return by, {text.kind: text for text in texts_of(connection, clinic_id, language)}


def _say(
    connection: Connection,
    clinic_id: int,
    language: str,
    new: Mapping[Kind, tuple[str, bool]],
    by: str,
    now: datetime,
) -> None:
    """Write the clinic's word down, take back what waits in another wording, and have the rest said in the new one."""
    if not new:
        return
    rows = [
        {
            "clinic_id": clinic_id,
            "language": language,
            "kind": kind,
            "wording": wording,
            "own": own,
            "approved_by": by,
            "approved_at": now,
        }
        for kind, (wording, own) in new.items()
    ]
    _wake_readers(connection, clinic_id, language, now)  # first: a review under way is waited for, so none is missed
    connection.execute(insert(t.clinic_text), rows)
    _take_back(connection, clinic_id, language, new)
    answer_late(connection, clinic_id, language, now)


def _take_back(connection: Connection, clinic_id: int, language: str, new: Mapping[Kind, tuple[str, bool]]) -> None:
    """Messages that wait in the old wording go; what is still useful of them is said anew under the same key.

    What was handed over once keeps its words, by which it is looked up; it is never sent when its text is a draft.
    """
    here = select(t.child.c.id).where(t.child.c.clinic_id == clinic_id)
    waits = (t.outbox.c.state == "queued", t.outbox.c.language == language, t.outbox.c.child_id.in_(here))
    connection.execute(delete(t.outbox).where(*waits, t.outbox.c.kind.in_(list(new)), t.outbox.c.attempt == 0))
    draft = [kind for kind, (wording, _) in new.items() if not wording]
    connection.execute(update(t.outbox).where(*waits, t.outbox.c.kind.in_(draft)).values(state="withdrawn"))


def _wake_readers(connection: Connection, clinic_id: int, language: str, now: datetime) -> None:
    readers = select(t.caregiver.c.child_id).where(t.caregiver.c.language == language)
    connection.execute(
        update(t.child).where(t.child.c.clinic_id == clinic_id, t.child.c.id.in_(readers)).values(wake_at=now)
    )
