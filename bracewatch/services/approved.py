"""Which texts a clinic sends: those that a named person there has read and approved, and in which wording."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection

from bracewatch.messages import wording as words
from bracewatch.messages.kinds import Kind
from bracewatch.messages.languages import LANGUAGES, shipped_language
from bracewatch.store.texts import Said, families_reading, last_said

_KINDS = frozenset(kind.value for kind in Kind)


@dataclass(frozen=True, slots=True)
class Text:
    """One text of a clinic as it stands. `said` is the clinic's last word on it; None: nobody ever said anything."""

    kind: Kind
    language: str
    wording: str  # what is sent, or would be if it were approved
    shipped: str
    own: bool
    approved: bool
    said: Said | None

    @property
    def changed(self) -> bool:
        """Whether a draft is one because the shipped wording is no longer the one that was approved."""
        return not self.approved and self.said is not None and bool(self.said.wording)


def texts_of(connection: Connection, clinic_id: int, language: str) -> list[Text]:
    """Every text of a clinic in one language, in the order of the kinds. Raises ValueError for one not shipped."""
    shipped_language(language)
    said = {each.kind: each for each in last_said(connection, [clinic_id], [language])}
    return [_text(kind, language, said.get(kind)) for kind in Kind]


def approved_wordings(
    connection: Connection, clinic_ids: Collection[int], languages: Collection[str]
) -> dict[tuple[int, str], dict[Kind, str]]:
    """The wordings that may be sent, by clinic and language: the clinic's own, and those approved as they are shipped
    now."""
    found: dict[tuple[int, str], dict[Kind, str]] = {}
    for said in last_said(connection, clinic_ids, [code for code in languages if code in LANGUAGES]):
        if said.kind not in _KINDS:
            continue  # a text of an earlier version
        text = _text(Kind(said.kind), said.language, said)
        if text.approved:
            found.setdefault((said.clinic_id, said.language), {})[text.kind] = text.wording
    return found


def drafts(connection: Connection, clinic_ids: Collection[int]) -> dict[tuple[int, str], int]:
    """How many texts nobody has approved, by clinic and shipped language; those with none are left out."""
    approved = approved_wordings(connection, clinic_ids, LANGUAGES)
    counted = {
        (clinic_id, language): len(Kind) - len(approved.get((clinic_id, language), {}))
        for clinic_id in clinic_ids
        for language in LANGUAGES
    }
    return {key: number for key, number in counted.items() if number}


def waiting(connection: Connection, clinic_ids: Collection[int]) -> dict[tuple[int, str], int]:
    """How many families would be written to in a language of which some text is a draft, by clinic and language."""
    still = drafts(connection, clinic_ids)
    return {key: families for key, families in families_reading(connection).items() if key in still}


def _text(kind: Kind, language: str, said: Said | None) -> Text:
    shipped = words.shipped_wording(kind, language)
    own = said is not None and said.own and bool(said.wording)
    approved = said is not None and bool(said.wording) and (said.own or said.wording == shipped)
    return Text(kind, language, said.wording if own and said else shipped, shipped, own, approved, said)
