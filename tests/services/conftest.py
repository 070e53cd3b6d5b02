import pytest
from opened_clinics import open_clinic
from world import ZONE, Network, World

from bracewatch.services import enrolment
from bracewatch.store import Store


@pytest.fixture
def world(store: Store) -> World:
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", ZONE, "tue", "+441134960001")
    return World(store, Network(), open_clinic(store, clinic))
