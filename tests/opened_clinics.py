"""Clinics as tests open them: with every shipped text read and approved, so that messages go out."""

from datetime import UTC, datetime

from bracewatch.messages.languages import LANGUAGES
from bracewatch.services.enrolment import NewClinic, add_clinic
from bracewatch.services.texts import approve_shipped
from bracewatch.store import Store

APPROVED_BY = "Sister Marigold"
APPROVED_AT = datetime(2025, 1, 6, 8, tzinfo=UTC)


def open_clinic(store: Store, clinic: NewClinic) -> int:
    """The id of a new clinic that has approved the texts of every shipped language."""
    clinic_id = add_clinic(store, clinic)
    approve_shipped(store, clinic_id, LANGUAGES, APPROVED_BY, APPROVED_AT)
    return clinic_id
