"""What the invented families do: pure choices, drawn from whom and what they are about and nothing else.

The same message is answered in the same way whenever the play is looked at, so a play that was cut off goes
on as if nothing had happened.
"""

from __future__ import annotations

import hashlib
import random
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from bracewatch.demo.families import Behaviour, Family, Programme
from bracewatch.messages import wording
from bracewatch.messages.kinds import Asked, Kind
from bracewatch.schedule.local_time import instant, local_day
from bracewatch.schedule.timeline import Visit

FOLLOW_UP_DAYS = (4, 14)  # a family that makes a missed visit good comes so many days after it
SAYS_COMING = 0.6  # share of reminders that are answered by a family that will come
AWAKE_FROM, AWAKE_TO = time(7), time(22)


@dataclass(frozen=True, slots=True)
class Reply:
    """What a caregiver sends, when, and the network's name for it."""

    at: datetime
    sid: str
    text: str


@dataclass(frozen=True, slots=True)
class Script:
    """The programme with its day 0 on a real day."""

    programme: Programme
    day_0: date

    def on(self, day: int) -> date:
        """The date of a day of the programme."""
        return self.day_0 + timedelta(days=day)

    def reply_to(
        self, family: Family, key: str, kind: Kind, asked: Asked, sent_at: datetime, comes: bool
    ) -> Reply | None:
        """The answer to a question that went out, or None. `comes`: the family means to keep its next visit."""
        clinic = self.programme.clinic_of(family)
        behaviour = self.programme.behaviour_of(family, self._day(sent_at, clinic.time_zone))
        draw = random.Random(f"{family.key}/{key}")  # noqa: S311 - a play, no secret
        answers = draw.random() < behaviour.answers
        delay = timedelta(hours=draw.uniform(*behaviour.delay_hours))
        text = self._text(family, behaviour, kind, asked, draw, comes)
        if not answers or text is None or behaviour.phone_dead:
            return None
        sid = f"play-{family.key}-{hashlib.sha256(key.encode()).hexdigest()[:16]}"
        return Reply(_awake(sent_at + delay, clinic.time_zone), sid, text)

    def sayings(self, family: Family) -> list[Reply]:
        """What the caregiver writes unasked."""
        zone_name = self.programme.clinic_of(family).time_zone
        return [
            Reply(instant(self.on(saying.day), saying.at, zone_name), f"play-{family.key}-says-{number}", saying.text)
            for number, saying in enumerate(family.says)
        ]

    def comes_on(self, family: Family, visit: Visit) -> date | None:
        """The day on which the child is brought to a visit; None when it is not."""
        if visit.on is None:
            return None
        behaviour = self.programme.behaviour_of(family, max((visit.on - self.day_0).days, family.behaves[0].since))
        draw = random.Random(f"{family.key}/{visit.key}/{visit.on}")  # noqa: S311 - a play, no secret
        if draw.random() < behaviour.keeps_visits:
            return visit.on + timedelta(days=draw.randint(*behaviour.late_days))
        if draw.random() < behaviour.comes_after_follow_up:
            return visit.on + timedelta(days=draw.randint(*FOLLOW_UP_DAYS))
        return None

    def dead_numbers(self, moment: datetime) -> frozenset[str]:
        """The numbers that the practice network refuses at that moment."""
        day = (moment.date() - self.day_0).days
        return frozenset(
            family.caregiver.phone
            for family in self.programme.families
            if self.programme.behaviour_of(family, max(day, family.behaves[0].since)).phone_dead
        )

    def _day(self, moment: datetime, zone_name: str) -> int:
        return (local_day(moment, zone_name) - self.day_0).days

    def _text(
        self, family: Family, behaviour: Behaviour, kind: Kind, asked: Asked, draw: random.Random, comes: bool
    ) -> str | None:
        language = family.caregiver.language
        if asked is Asked.COMING:
            if kind is not Kind.VISIT_REMINDER or not comes or draw.random() > SAYS_COMING:
                return None
            return wording.reply_words(language)["YES"]
        figure = draw.randint(*(behaviour.hours if asked is Asked.HOURS else behaviour.nights))
        if (
            behaviour.words
            and kind in (Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS)
            and language in self.programme.phrases
        ):
            return draw.choice(self.programme.phrases[language].ways_to_say(asked, figure))
        return str(figure)


def _awake(moment: datetime, zone_name: str) -> datetime:
    """`moment`, or the next morning when it falls into the night."""
    day = local_day(moment, zone_name)
    if moment < instant(day, AWAKE_FROM, zone_name):
        return instant(day, AWAKE_FROM, zone_name)
    if moment >= instant(day, AWAKE_TO, zone_name):
        return instant(day + timedelta(days=1), AWAKE_FROM, zone_name)
    return moment
