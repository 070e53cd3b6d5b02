"""A small invented cast whose days are played through the services: enrolment, reviewing, sending, the inbox.

Two clinics, three hours ahead of UTC all year. Names and numbers are invented; the numbers are kept free for drama.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from opened_clinics import open_clinic

from bracewatch.messages.practice import PracticePhone
from bracewatch.services import inbox
from bracewatch.services.enrolment import NewClinic, NewFamily, enrol
from bracewatch.services.reviewing import review_due
from bracewatch.services.sending import send_due
from bracewatch.store import Store

CANARY_CHILD, CANARY_CAREGIVER = "Kestrel Canarychild", "Wren Canarycarer"
START = date(2026, 9, 1)  # a Tuesday: the brace starts and the family is enrolled


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """A moment by the clinics' clocks, UTC+3."""
    return datetime.combine(day, time(hour, minute), UTC) - timedelta(hours=3)


@dataclass
class Cast:
    """Clinics by key, and who has been enrolled. A family is told by the number that `family` returns."""

    store: Store
    clinics: dict[str, int] = field(default_factory=dict)
    phones: dict[int, str] = field(default_factory=dict)
    dead: set[str] = field(default_factory=set)

    def open_clinic(self, key: str, name: str) -> None:
        """A clinic that is open on Tuesdays and Fridays."""
        clinic = NewClinic(key, name, "KE", "Africa/Nairobi", "tue,fri", "+13105550150")
        self.clinics[key] = open_clinic(self.store, clinic)

    def family(self, clinic: str = "hill", *, agreed: bool = True, start: date = START, **other: object) -> int:
        """Enrol a family on the day its brace starts, at 10:00; the child's number."""
        phone = f"+12025550{len(self.phones) + 100}"
        given: dict[str, object] = {
            "clinic_id": self.clinics[clinic],
            "child_name": CANARY_CHILD,
            "born": start - timedelta(days=60),
            "brace_start": start,
            "caregiver_name": CANARY_CAREGIVER,
            "phone": phone,
            "language": "en",
            "contact_time": time(18),
            "agreed_at": at(start, 10) if agreed else None,
            "agreed_text": "welcome, first wording",
            "agreed_by": "Nurse Imara",
        }
        child = enrol(self.store, NewFamily(**(given | other)), at(start, 10))  # type: ignore[arg-type]
        self.phones[child] = phone
        return child

    def says(self, child: int, text: str, when: datetime) -> None:
        """The family writes."""
        sid = f"{child}-{when.isoformat()}"
        assert inbox.receive(self.store, sid=sid, phone=self.phones[child], body=text, received_at=when)

    def tick(self, now: datetime) -> None:
        """Review and send what is due, then review what that changed."""
        phone = PracticePhone(dead_numbers=frozenset(self.dead))
        review_due(self.store, now)
        send_due(self.store, phone, lambda: now, "test")
        review_due(self.store, now)

    def play(self, first: date, last: date, answers: dict[int, dict[date, str]] | None = None) -> None:
        """Every day: what is due goes out at 18:05; families answer at 19:00 what `answers` has for the day."""
        for day in days(first, last):
            self.tick(at(day, 18, 5))
            for child, said in (answers or {}).items():
                if day in said:
                    self.says(child, said[day], at(day, 19))
            self.tick(at(day, 19, 5))


def days(first: date, last: date) -> Iterable[date]:
    """Every day from the first to the last, both included."""
    return (first + timedelta(days=number) for number in range((last - first).days + 1))


def two_clinics(store: Store) -> Cast:
    """Two clinics and no family, written into a store that has its schema."""
    cast = Cast(store)
    cast.open_clinic("hill", "Hill clinic")
    cast.open_clinic("shore", "Shore clinic")
    return cast
