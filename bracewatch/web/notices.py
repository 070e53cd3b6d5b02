"""What stands at the top of every page: a stop that is on, and families whose texts nobody has approved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from flask import Flask, request

from bracewatch.services.approved import drafts, waiting
from bracewatch.services.stopping import standing_stops
from bracewatch.store import pages
from bracewatch.web import at_hand

OF_THE_CLINIC = ("clinic", "texts", "sending")  # the desks at which somebody can read and approve a text


@dataclass(frozen=True, slots=True)
class StopNotice:
    """A stop that stands. `clinic` is None for all clinics; `zone` is where its moment is shown."""

    id: int
    clinic: pages.Clinic | None
    zone: str
    why: str
    by: str
    at: datetime
    of_account: bool


@dataclass(frozen=True, slots=True)
class DraftNotice:
    """Families of a clinic that read a language of which `texts` texts are drafts."""

    clinic: pages.Clinic
    language: str
    families: int
    texts: int


@dataclass(frozen=True, slots=True)
class Notices:
    stops: Sequence[StopNotice]
    drafts: Sequence[DraftNotice]


def teach(app: Flask) -> None:
    """Let the templates of `app` ask what stands."""
    app.jinja_env.globals["standing_notices"] = standing_notices


def standing_notices() -> Notices:
    """What stands now."""
    with at_hand.store().read() as connection:
        clinics = {clinic.id: clinic for clinic in pages.clinics(connection)}
        zone = next((clinic.zone for clinic in clinics.values()), "UTC")
        stops = [
            StopNotice(
                id=stop.id,
                clinic=clinics[stop.clinic_id] if stop.clinic_id is not None else None,
                zone=clinics[stop.clinic_id].zone if stop.clinic_id is not None else zone,
                why=stop.why,
                by=stop.stopped_by,
                at=stop.stopped_at,
                of_account=stop.cause == "account",
            )
            for stop in standing_stops(connection)
        ]
        if request.blueprint not in OF_THE_CLINIC:
            return Notices(stops, [])
        number = drafts(connection, clinics)
        unread = [
            DraftNotice(clinics[clinic_id], language, families, number[clinic_id, language])
            for (clinic_id, language), families in sorted(waiting(connection, clinics).items())
        ]
    return Notices(stops, unread)
