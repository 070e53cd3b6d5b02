"""A case: everything a review needs to know about one child, as of now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.schedule.local_time import instant, local_day
from bracewatch.schedule.protocol import Protocol
from bracewatch.schedule.timeline import Timeline
from bracewatch.wear.reports import WearReport


@dataclass(frozen=True, slots=True)
class Caregiver:
    """Who is written to, where and when. Nothing is sent before `agreed_at` or while `stopped_at` is set.

    `number_failed_at` is when the network said that nothing gets through, with its code; None: nothing known.
    """

    id: int
    language: str
    zone: str
    contact_time: time
    agreed_at: datetime | None
    stopped_at: datetime | None
    stopped_why: str | None = None
    number_failed_at: datetime | None = None
    number_failed_code: str | None = None

    @property
    def may_be_written_to(self) -> bool:
        return self.agreed_at is not None and self.stopped_at is None


@dataclass(frozen=True, slots=True)
class Question:
    """A question that went out."""

    asked: Asked
    sent_at: datetime


@dataclass(frozen=True, slots=True)
class Written:
    """Something nobody asked for that was put down to be sent. `counts`: it went out, or still may."""

    key: str
    at: datetime
    counts: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """A reply as it was read. `handled_at` is when a person dealt with it, if one had to and has."""

    at: datetime
    body: str
    meaning: Meaning
    about: str | None
    next: Next
    handled_at: datetime | None


@dataclass(frozen=True, slots=True)
class Call:
    """A telephone call that staff made. `spoke`: a caregiver of the child was reached."""

    at: datetime
    spoke: bool


@dataclass(frozen=True, slots=True)
class Case:
    """One child in one bracing course. Datetimes are aware; the tuples may come in any order.

    `enrolled_on` is the first day on which the program was responsible: earlier visits are nobody's miss.
    `passed_over` are caregivers who may be written to and are not, because their number fails and another's works.
    """

    child_id: int
    course_id: int
    clinic_id: int
    protocol: Protocol
    timeline: Timeline
    clinic_zone: str
    enrolled_on: date
    caregiver: Caregiver | None
    reports: tuple[WearReport, ...] = ()
    questions: tuple[Question, ...] = ()
    written: tuple[Written, ...] = ()
    heard: tuple[Heard, ...] = ()
    calls: tuple[Call, ...] = ()
    passed_over: tuple[Caregiver, ...] = ()

    def clinic_day(self, now: datetime) -> date:
        """The calendar day at the clinic."""
        return local_day(now, self.clinic_zone)

    @property
    def spoken_at(self) -> datetime | None:
        """The last time somebody from the clinic spoke with the family: by telephone or at a visit.

        A visit counts from the start of its day, so that what was written later that day stays open.
        """
        moments = [call.at for call in self.calls if call.spoke]
        moments += [
            instant(visit.kept, time(0), self.clinic_zone) for visit in self.timeline.visits if visit.kept is not None
        ]
        return max(moments, default=None)

    def unsettled(self, *meanings: Meaning) -> list[Heard]:
        """Replies of those meanings since anyone spoke with the family, oldest first."""
        spoken = self.spoken_at
        return sorted(
            (
                reply
                for reply in self.heard
                if reply.meaning in meanings and (spoken is None or reply.at > spoken) and reply.handled_at is None
            ),
            key=lambda reply: reply.at,
        )
