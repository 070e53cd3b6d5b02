"""The practice clinics have read their texts, so that the play is not silent."""

from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import delete, select

from bracewatch.demo import families
from bracewatch.demo.practice_clinic import PracticeClinic
from bracewatch.messages.kinds import Kind
from bracewatch.messages.languages import LANGUAGES
from bracewatch.services import texts
from bracewatch.services.approved import drafts, waiting
from bracewatch.store import tables as t

AS_OF = datetime(2026, 11, 25, 9, tzinfo=UTC)
PROGRAMME = families.shipped()
READ = {(family.clinic, family.caregiver.language) for family in PROGRAMME.families}


def opened(path: Path) -> PracticeClinic:
    return PracticeClinic.on_file(path, PROGRAMME, lambda: AS_OF)


def approved(clinic: PracticeClinic) -> set[tuple[str, str]]:
    """Clinics and languages of which no text is a draft."""
    with clinic.store.read() as connection:
        ids = {row.id: row.key for row in connection.execute(select(t.clinic.c.id, t.clinic.c.key))}
        still = drafts(connection, ids)
    return {(key, code) for clinic_id, key in ids.items() for code in LANGUAGES if (clinic_id, code) not in still}


def test_each_practice_clinic_has_approved_the_languages_of_its_families_and_no_other(tmp_path: Path) -> None:
    clinic = opened(tmp_path / "practice.sqlite3")
    assert approved(clinic) == READ
    with clinic.store.read() as connection:
        names = set(connection.execute(select(t.clinic_text.c.approved_by)).scalars())
        assert waiting(connection, [1, 2, 3]) == {}
    assert names == {"Sister Marigold (invented)"}
    clinic.close()


def test_a_file_from_before_texts_were_approved_is_not_silent(tmp_path: Path) -> None:
    clinic = opened(tmp_path / "practice.sqlite3")
    with clinic.store.begin() as connection:
        connection.execute(delete(t.clinic_text))
    clinic.close()
    clinic = opened(tmp_path / "practice.sqlite3")
    assert approved(clinic) == READ
    clinic.close()


def test_what_somebody_took_back_in_practice_stays_taken_back(tmp_path: Path) -> None:
    clinic = opened(tmp_path / "practice.sqlite3")
    (language,) = {code for key, code in READ if key == PROGRAMME.clinics[0].key} & {"en"}
    texts.withdraw(clinic.store, 1, language, list(Kind), "Sister Marigold", AS_OF)
    clinic.close()
    clinic = opened(tmp_path / "practice.sqlite3")
    assert approved(clinic) == READ - {(PROGRAMME.clinics[0].key, language)}
    clinic.close()
