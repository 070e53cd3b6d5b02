"""What is loaded for the programme's figures holds no name, number or word of a family."""

from datetime import UTC, date, datetime

import pytest
from programme_cast import CANARY_CAREGIVER, CANARY_CHILD, START, at, two_clinics

from bracewatch.services import calls, visits
from bracewatch.store import figures

EVER = datetime(2000, 1, 1, tzinfo=UTC)
LATER = datetime(2100, 1, 1, tzinfo=UTC)
SAID, NOTED = "20 canarywords", "canarynote"


@pytest.mark.parametrize("clinic", [None, "hill"])
def test_no_name_number_or_word_of_a_family_is_loaded(clinic: str | None) -> None:
    with two_clinics() as cast:
        child, unreachable = cast.family(), cast.family()
        cast.dead.add(cast.phones[unreachable])
        cast.play(START, date(2026, 9, 4), {child: {date(2026, 9, 3): "20"}})
        cast.says(child, SAID, at(date(2026, 9, 5), 12))
        cast.tick(at(date(2026, 9, 5), 13))
        visits.record_kept(cast.store, child, "first-fit", START, at(date(2026, 9, 5), 12), note=NOTED)
        calls.record(cast.store, child, "no_answer", at(date(2026, 9, 5), 12), NOTED)
        clinic_id = cast.clinics[clinic] if clinic else None
        with cast.store.read() as connection:
            loaded = [
                figures.clinics(connection),
                figures.courses(connection, clinic_id),
                figures.course_facts(connection, clinic_id),
                figures.check_ins_sent(connection, clinic_id, EVER),
                figures.wear_reports(connection, clinic_id, EVER),
                figures.replies_heard(connection, clinic_id, EVER),
                figures.messages_not_sent(connection, clinic_id, EVER, LATER),
                figures.wishes(connection, clinic_id),
                figures.standing_flags(connection, clinic_id),
            ]
        assert all(loaded), "every kind of fact must be there for this test to say anything"
        shown = repr([dict(each) if isinstance(each, dict) else list(each) for each in loaded])
        secrets = (*CANARY_CHILD.split(), *CANARY_CAREGIVER.split(), "canarywords", NOTED, *cast.phones.values())
        assert [secret for secret in secrets if secret in shown] == []


def test_another_clinics_facts_are_not_loaded() -> None:
    with two_clinics() as cast:
        child, unreachable = cast.family("shore"), cast.family("shore")
        cast.dead.add(cast.phones[unreachable])
        cast.play(START, date(2026, 9, 4), {child: {date(2026, 9, 3): "12"}})
        here = cast.clinics["hill"]
        with cast.store.read() as connection:
            assert list(figures.courses(connection, here)) == []
            assert figures.course_facts(connection, here) == {}
            assert list(figures.check_ins_sent(connection, here, EVER)) == []
            assert list(figures.wear_reports(connection, here, EVER)) == []
            assert list(figures.replies_heard(connection, here, EVER)) == []
            assert list(figures.messages_not_sent(connection, here, EVER, LATER)) == []
            assert list(figures.wishes(connection, here)) == []
            assert list(figures.standing_flags(connection, here)) == []
