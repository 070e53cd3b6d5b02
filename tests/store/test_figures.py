"""What is loaded for the programme's figures holds no name, number or word of a family."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from programme_cast import CANARY_CAREGIVER, CANARY_CHILD, START, at, two_clinics

from bracewatch.services import calls, visits
from bracewatch.store import Store, figures

EVER = datetime(2000, 1, 1, tzinfo=UTC)
SAID, NOTED = "20 canarywords", "canarynote"


@pytest.mark.parametrize("clinic", [None, "hill"])
def test_no_name_number_or_word_of_a_family_is_loaded(store: Store, clinic: str | None) -> None:
    cast = two_clinics(store)
    child, unreachable = cast.family(), cast.family()
    cast.dead.add(cast.phones[unreachable])
    cast.play(START, date(2026, 9, 4), {child: {date(2026, 9, 3): "20"}})
    cast.says(child, SAID, at(date(2026, 9, 5), 12))
    cast.tick(at(date(2026, 9, 5), 13))
    visits.record_unplanned(store, child, START, at(date(2026, 9, 5), 12), note=NOTED)
    calls.record(store, child, "no_answer", at(date(2026, 9, 5), 12), NOTED)
    loaded = everything(store, cast.clinics[clinic] if clinic else None)
    assert all(loaded), "every kind of fact must be there for this test to say anything"
    shown = repr([dict(each) if isinstance(each, dict) else list(each) for each in loaded])
    secrets = (*CANARY_CHILD.split(), *CANARY_CAREGIVER.split(), "canarywords", NOTED, *cast.phones.values())
    assert [secret for secret in secrets if secret in shown] == []


def test_another_clinics_facts_are_not_loaded(store: Store) -> None:
    cast = two_clinics(store)
    child, unreachable = cast.family("shore"), cast.family("shore")
    cast.dead.add(cast.phones[unreachable])
    cast.play(START, date(2026, 9, 4), {child: {date(2026, 9, 3): "12"}})
    cast.says(child, "please call me", at(date(2026, 9, 4), 20))
    cast.tick(at(date(2026, 9, 4), 20))
    visits.record_unplanned(store, child, START, at(date(2026, 9, 4), 20))
    assert all(everything(store, cast.clinics["shore"]))
    names, *facts = everything(store, cast.clinics["hill"])
    assert len(names) == 2
    assert [len(each) for each in facts] == [0] * len(facts)


def everything(store: Store, clinic_id: int | None) -> list[Any]:
    """Every select of the module, the clinics first."""
    with store.read() as connection:
        return [
            figures.clinics(connection),
            figures.courses(connection, clinic_id),
            figures.course_facts(connection, clinic_id),
            figures.check_ins_sent(connection, clinic_id, EVER),
            figures.wear_reports(connection, clinic_id, EVER),
            figures.replies_heard(connection, clinic_id, EVER),
            figures.messages_not_sent(connection, clinic_id, EVER),
            figures.wishes(connection, clinic_id),
            figures.standing_flags(connection, clinic_id),
        ]
