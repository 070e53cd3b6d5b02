import pytest
from world import ZONE, Network, World

from bracewatch.services import enrolment
from bracewatch.store import Store


@pytest.fixture
def world(store: Store) -> World:
    clinic = enrolment.NewClinic("hill", "Green Hill", "KE", ZONE, "tue", "+441134960001")
    return World(store, Network(), enrolment.add_clinic(store, clinic))
