"""A small practice clinic in a real SQLite file: five invented families, played for three weeks."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from flask import Flask
from flask.testing import FlaskClient
from opened_clinics import open_clinic
from werkzeug.test import TestResponse

from bracewatch.messages.practice import PracticePhone
from bracewatch.services.enrolment import NewClinic, NewFamily, enrol
from bracewatch.services.inbox import receive
from bracewatch.services.reviewing import review_due
from bracewatch.services.sending import send_due
from bracewatch.store import Store
from bracewatch.web.app import create_app

STARTS = datetime(2026, 11, 2, 6, tzinfo=UTC)
NOW = datetime(2026, 11, 24, 9, tzinfo=UTC)  # a Tuesday, noon in Nairobi

MINA, LAYAN, JUMA, ASHA, NEW = 1, 2, 3, 4, 5  # child ids
PHONES = {child_id: f"+44207946010{child_id}" for child_id in (MINA, LAYAN, JUMA, ASHA, NEW)}
STRANGER = "+442079460999"


class Desk:
    """A practice clinic whose families do nothing by themselves."""

    def __init__(self, store: Store, at: datetime) -> None:
        self.store = store
        self.at = at
        self.hand: set[int] = set()

    def now(self) -> datetime:
        return self.at

    def tick(self) -> None:
        review_due(self.store, self.at)
        send_due(self.store, PracticePhone(), self.now, "desk")
        review_due(self.store, self.at)

    def to_next_morning(self) -> None:
        self.play_to(datetime.combine(self.at.date() + timedelta(days=1), time(8, 30), UTC))

    def play_to(self, moment: datetime) -> None:
        while self.at < moment:
            self.at = min(self.at + timedelta(hours=3), moment)
            self.tick()

    def by_hand(self, child_id: int) -> bool:
        return child_id in self.hand

    def take_over(self, child_id: int) -> None:
        self.hand.add(child_id)


def _family(clinic_id: int, child_id: int, name: str, caregiver: str, **changes: object) -> NewFamily:
    values: dict[str, object] = {
        "clinic_id": clinic_id,
        "child_name": name,
        "born": date(2026, 8, 1),
        "brace_start": date(2026, 10, 26),
        "caregiver_name": caregiver,
        "phone": PHONES[child_id],
        "language": "en",
        "contact_time": time(18),
        "agreed_at": STARTS,
        "agreed_text": "welcome en 1",
        "agreed_by": "Nurse Imara",
        "abduction_last_cast": 65.0,
        "dorsiflexion": 15.0,
        **changes,
    }
    return NewFamily(**values)  # type: ignore[arg-type]


def play(store: Store) -> None:
    """Mina reports low wear, Layan's mother writes of a red heel, Juma misses a visit, Asha's answer is unclear."""
    hilltop = open_clinic(
        store, NewClinic("hilltop", "Hilltop clinic", "KE", "Africa/Nairobi", "tue,fri", "+442079460901")
    )
    riverside = open_clinic(store, NewClinic("riverside", "Riverside", "JO", "Asia/Amman", "mon,wed", "+442079460902"))
    desk = Desk(store, STARTS)
    enrol(store, _family(hilltop, MINA, "Mina Aroko", "Dela Aroko"), STARTS)
    enrol(store, _family(riverside, LAYAN, "ليان سمرة", "هناء سمرة", language="ar"), STARTS)
    older = {"born": date(2025, 1, 9), "brace_start": date(2025, 3, 3)}
    enrol(store, _family(hilltop, JUMA, "Juma Telo", "Neema Telo", language="sw", **older), STARTS)
    enrol(store, _family(hilltop, ASHA, "Asha Vell", "Ravi Vell", language="hi"), STARTS)
    desk.play_to(datetime(2026, 11, 16, 16, tzinfo=UTC))
    for child_id, sid, body in ((MINA, "s1", "21"), (LAYAN, "s2", "22")):
        receive(store, sid=sid, phone=PHONES[child_id], body=body, received_at=desk.at)
    desk.tick()  # answers go out before the night
    desk.play_to(datetime(2026, 11, 23, 16, tzinfo=UTC))
    receive(store, sid="s3", phone=PHONES[MINA], body="6", received_at=desk.at)
    receive(store, sid="s4", phone=PHONES[LAYAN], body="كعبه أحمر ومتورم", received_at=desk.at)
    receive(store, sid="s5", phone=PHONES[ASHA], body="umbrella marmalade", received_at=desk.at)
    receive(store, sid="s6", phone=PHONES[ASHA], body="quite a walrus", received_at=desk.at + timedelta(minutes=5))
    receive(store, sid="s7", phone=STRANGER, body="is this the boots place", received_at=desk.at)
    desk.tick()
    desk.play_to(NOW)
    enrol(
        store,
        _family(hilltop, NEW, "Nuru Aban", "Ife Aban", brace_start=date(2026, 11, 24), agreed_at=NOW),
        NOW,
    )
    desk.tick()


@dataclass
class World:
    """One test's own copy: the store, the practice desk, the app, and a client on this machine."""

    store: Store
    desk: Desk
    app: Flask
    client: FlaskClient = field(init=False)

    def __post_init__(self) -> None:
        self.client = self.app.test_client()

    def get(self, path: str) -> str:
        """The page there; it must exist."""
        answer = self.client.get(path)
        assert answer.status_code == 200, (path, answer.status_code)
        return answer.get_data(as_text=True)

    def token(self, path: str = "/practice") -> str:
        """A token for a form, from this client's session."""
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.get(path))
        assert found
        return found[1]

    def post(self, path: str, **form: str) -> TestResponse:
        """The answer to a form sent with a token."""
        return self.client.post(path, data={"csrf_token": self.token(), **form})

    def press(self, path: str, **form: str) -> str:
        """Send a form and follow to the page it leads to."""
        answer = self.client.post(path, data={"csrf_token": self.token(), **form}, follow_redirects=True)
        assert answer.status_code == 200, (path, answer.status_code)
        return answer.get_data(as_text=True)

    def refused(self, path: str, status: int, **form: str) -> str:
        """Send a form that must be refused with that status; the page that says so."""
        answer = self.post(path, **form)
        assert answer.status_code == status, (path, answer.status_code)
        return answer.get_data(as_text=True)


def open_world(path: Path) -> World:
    store = Store(f"sqlite:///{path}")
    desk = Desk(store, NOW)
    return World(store, desk, create_app(store, clock=desk.now, secret="for tests only", practice=desk))


def card(page: str, child_id: int) -> str:
    """The card of a family on the call list; empty when it has none there."""
    found = re.search(rf'<article[^>]*id="child-{child_id}".*?</article>', page, re.DOTALL)
    return found[0] if found else ""
