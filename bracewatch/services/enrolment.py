"""Taking a family in: a clinic, a child, its caregiver and its first course."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any, cast

import phonenumbers
from sqlalchemy import Connection, insert, select

from bracewatch.messages.languages import LANGUAGES
from bracewatch.schedule import protocol
from bracewatch.schedule.clinic_days import check_country, parse_weekdays
from bracewatch.schedule.facts import FactKind, faults_in
from bracewatch.schedule.feet import Correction, FootKind, Sides
from bracewatch.schedule.local_time import local_day, zone
from bracewatch.schedule.protocol import Protocol
from bracewatch.services.facts import FactRefused, present_case, write
from bracewatch.services.waking import plan_changed, wake
from bracewatch.store import Store
from bracewatch.store import tables as t
from bracewatch.store.courses import keep_rules


class NotEnrolled(ValueError):
    """Somebody or something could not be written down. `faults` names everything that is wrong."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(self.faults))


@dataclass(frozen=True, slots=True)
class NewClinic:
    key: str
    name: str
    country: str  # ISO 3166-1 alpha-2
    time_zone: str
    clinic_days: str  # as in "tue,fri"
    phone: str
    closed: dict[date, str] = field(default_factory=dict)
    region: str | None = None  # where public holidays differ within the country
    keeps_holidays: bool = True  # closed on the public holidays of its country and region
    daily_capacity: int | None = None  # children a day


@dataclass(frozen=True, slots=True)
class NewCaregiver:
    """Somebody who looks after a child, and the consent to messages: without it nothing is sent.

    `agreed_at` is when they agreed, `agreed_text` the wording they agreed to, `agreed_language` the language it
    was put to them in (theirs when not given), `agreed_by` who asked them and wrote it down. All None: not agreed.
    """

    name: str
    phone: str
    language: str
    contact_time: time
    time_zone: str | None = None  # the clinic's when not given
    agreed_at: datetime | None = None
    agreed_text: str | None = None
    agreed_language: str | None = None
    agreed_by: str | None = None


@dataclass(frozen=True, slots=True)
class NewFamily:
    """A child after correction and who looks after it; the caregiver's fields are those of NewCaregiver."""

    clinic_id: int
    child_name: str
    born: date
    brace_start: date
    caregiver_name: str
    phone: str
    language: str
    contact_time: time
    protocol_id: str = protocol.DEFAULT
    sides: str = "both"
    foot: str = "typical"
    time_zone: str | None = None  # the clinic's when not given
    agreed_at: datetime | None = None
    agreed_text: str | None = None
    agreed_language: str | None = None
    agreed_by: str | None = None
    abduction_before_release: float | None = None
    abduction_last_cast: float | None = None
    dorsiflexion: float | None = None
    rotation_affected: float | None = None
    rotation_unaffected: float | None = None
    bend: float | None = None

    @property
    def caregiver(self) -> NewCaregiver:
        return NewCaregiver(
            name=self.caregiver_name,
            phone=self.phone,
            language=self.language,
            contact_time=self.contact_time,
            time_zone=self.time_zone,
            agreed_at=self.agreed_at,
            agreed_text=self.agreed_text,
            agreed_language=self.agreed_language,
            agreed_by=self.agreed_by,
        )


def phone_number(text: str) -> str:
    """A telephone number in international form (E.164). Raises ValueError unless it is complete and valid."""
    compact = "".join(text.split())
    if compact.startswith("00"):
        compact = "+" + compact[2:]
    if not compact.startswith("+"):
        raise ValueError(f"{text!r} has no country code: write the number as in +44 20 7946 0123")
    try:
        number = phonenumbers.parse(compact)
    except phonenumbers.NumberParseException as error:
        raise ValueError(f"{text!r} is not a telephone number: write it as in +44 20 7946 0123") from error
    if not phonenumbers.is_valid_number(number):
        raise ValueError(f"{text!r} is no number of that country: check the digits")
    return str(phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164))


def add_clinic(store: Store, clinic: NewClinic) -> int:
    """Write a clinic down; its id. Raises NotEnrolled with every fault."""
    faults = [
        *_fault(zone, clinic.time_zone),
        *_fault(parse_weekdays, clinic.clinic_days),
        *_fault(phone_number, clinic.phone),
    ]
    if clinic.keeps_holidays:
        faults += _fault(check_country, clinic.country, clinic.region)
    if clinic.daily_capacity is not None and clinic.daily_capacity < 1:
        faults.append(f"daily capacity {clinic.daily_capacity}: give 1 or more children a day, or nothing for no limit")
    faults += [f"a clinic needs a {name}" for name in ("key", "name", "country") if not getattr(clinic, name).strip()]
    if faults:
        raise NotEnrolled(faults)
    with store.begin() as connection:
        clinic_id = connection.execute(
            insert(t.clinic)
            .values(
                key=clinic.key,
                name=clinic.name,
                country=clinic.country,
                time_zone=clinic.time_zone,
                clinic_days=clinic.clinic_days,
                phone=phone_number(clinic.phone),
                region=clinic.region,
                keeps_holidays=clinic.keeps_holidays,
                daily_capacity=clinic.daily_capacity,
            )
            .returning(t.clinic.c.id)
        ).scalar_one()
        closed = [{"clinic_id": clinic_id, "day": day, "reason": reason} for day, reason in clinic.closed.items()]
        if closed:
            connection.execute(insert(t.clinic_closed_day), closed)
    return int(clinic_id)


def enrol(store: Store, family: NewFamily, now: datetime, protocols: Mapping[str, Protocol] | None = None) -> int:
    """Write a family down and wake it for its first review; the child's id. Raises NotEnrolled with every fault.

    `protocols` are those the clinic may choose from, by identifier; the shipped ones when not given.
    """
    protocols = protocols if protocols is not None else {key: protocol.shipped(key) for key in protocol.shipped_ids()}
    with store.begin() as connection:
        clinic = connection.execute(select(t.clinic).where(t.clinic.c.id == family.clinic_id)).one_or_none()
        if clinic is None:
            raise NotEnrolled([f"there is no clinic {family.clinic_id}"])
        today = local_day(now, clinic.time_zone)
        faults = _faults(family, today, protocols, now)
        if faults:
            raise NotEnrolled(faults)
        child_id = connection.execute(
            insert(t.child)
            .values(
                clinic_id=clinic.id,
                name=family.child_name.strip(),
                born=family.born,
                enrolled_on=today,
                enrolled_at=now,
                wake_at=now,
            )
            .returning(t.child.c.id)
        ).scalar_one()
        _write_caregiver(connection, int(child_id), family.caregiver, clinic.time_zone)
        _open_course(connection, int(child_id), 1, family.brace_start, family, protocols[family.protocol_id])
    return int(child_id)


def add_caregiver(store: Store, child_id: int, person: NewCaregiver, now: datetime) -> int:
    """Write another caregiver of the child down; their id. Messages go to the first whose number works.

    Raises NotEnrolled with every fault.
    """
    with store.begin() as connection:
        clinic_zone = connection.execute(
            select(t.clinic.c.time_zone)
            .join(t.child, t.child.c.clinic_id == t.clinic.c.id)
            .where(t.child.c.id == child_id)
        ).scalar_one_or_none()
        faults = _faults_of_caregiver(person, now) if clinic_zone else [f"there is no child {child_id}"]
        if faults:
            raise NotEnrolled(faults)
        caregiver_id = _write_caregiver(connection, child_id, person, str(clinic_zone))
        wake(connection, child_id, now)
    return caregiver_id


def _write_caregiver(connection: Connection, child_id: int, person: NewCaregiver, clinic_zone: str) -> int:
    agreed = person.agreed_at is not None
    caregiver_id = connection.execute(
        insert(t.caregiver)
        .values(
            child_id=child_id,
            name=person.name.strip(),
            phone=phone_number(person.phone),
            language=person.language,
            time_zone=person.time_zone or clinic_zone,
            contact_time=person.contact_time,
            agreed_at=person.agreed_at,
            agreed_text=person.agreed_text,
            agreed_language=(person.agreed_language or person.language) if agreed else None,
            agreed_by=person.agreed_by,
        )
        .returning(t.caregiver.c.id)
    ).scalar_one()
    return int(caregiver_id)


def start_again(
    store: Store, child_id: int, relapsed_on: date, brace_start: date, now: datetime, rules: Protocol | None = None
) -> int:
    """After a relapse and new casts: end the present course, open the next; the new course's id.

    The new course is full time again from its first day, in the protocol the child follows now or in `rules`, where
    that has no course for the child's age. Bracing that had ended before the relapse stays ended on its day. Raises
    NotEnrolled with every fault: no course that has begun, a relapse ahead of today or before the brace start,
    something of the brace written down after the relapse.
    """
    with store.begin() as connection:
        try:
            case = present_case(connection, child_id, now)
            old = _course_row(connection, case.course_id)
            today = case.clinic_day(now)
            rules = rules or case.protocol
            faults = _faults_of_relapse(rules, old, relapsed_on, brace_start, today)
            if faults:
                raise NotEnrolled(faults)
            if relapsed_on < case.timeline.ends_on:
                write(connection, case, FactKind.ENDED, relapsed_on, now, about="relapse")
        except FactRefused as refusal:
            raise NotEnrolled(refusal.faults) from refusal
        course_id = _open_course(connection, child_id, old.number + 1, brace_start, old, rules)
        plan_changed(connection, child_id, now)
    return course_id


def _course_row(connection: Connection, course_id: int) -> Any:
    query = select(t.course, t.child.c.born).join(t.child, t.child.c.id == t.course.c.child_id)
    return connection.execute(query.where(t.course.c.id == course_id)).one()


def _faults_of_relapse(rules: Protocol, old: Any, relapsed_on: date, brace_start: date, today: date) -> list[str]:
    faults = faults_in(old.born, brace_start, today)
    if today < old.brace_start:
        faults.append(f"course {old.number} begins on {old.brace_start}: it cannot have relapsed yet")
    if relapsed_on > today:
        faults.append(f"relapse {relapsed_on} is ahead of today, {today}")
    if not old.brace_start <= relapsed_on <= brace_start:
        faults.append(f"relapse {relapsed_on} must lie from {old.brace_start} (brace start) to {brace_start}")
    return faults + _fault(lambda: rules.variant_for(old.born, brace_start, old.foot))


def correction_of(family: NewFamily) -> Correction:
    """The feet and settings of a family, for a look at what is out of the published range (`feet.cautions`).

    Raises ValueError, naming the field and what is allowed, for a value that cannot be.
    """
    return Correction(
        kind=cast(FootKind, family.foot),
        sides=cast(Sides, family.sides),
        abduction_before_release=family.abduction_before_release,
        abduction_last_cast=family.abduction_last_cast,
        dorsiflexion=family.dorsiflexion,
        rotation_affected=family.rotation_affected,
        rotation_unaffected=family.rotation_unaffected,
        bend=family.bend,
    )


def _open_course(
    connection: Connection, child_id: int, number: int, brace_start: date, like: object, rules: Protocol
) -> int:
    """A new course by those rules, with the feet of `like`, a NewFamily or a row of an earlier course.

    Raises NotEnrolled where the rules are kept in another wording.
    """
    names = (
        *("sides", "foot", "abduction_before_release", "abduction_last_cast", "dorsiflexion"),
        *("rotation_affected", "rotation_unaffected", "bend"),
    )
    try:
        keep_rules(connection, rules)
    except ValueError as error:
        raise NotEnrolled([str(error)]) from error
    course_id = connection.execute(
        insert(t.course)
        .values(
            child_id=child_id,
            number=number,
            protocol_id=rules.id,
            protocol_version=rules.version,
            brace_start=brace_start,
            **{name: getattr(like, name) for name in names},
        )
        .returning(t.course.c.id)
    ).scalar_one()
    return int(course_id)


def _faults(family: NewFamily, today: date, protocols: Mapping[str, Protocol], now: datetime) -> list[str]:
    faults = faults_in(family.born, family.brace_start, today)
    if not family.child_name.strip():
        faults.append("the child's name is missing")
    faults += _faults_of_caregiver(family.caregiver, now)
    if family.sides not in ("left", "right", "both"):
        faults.append(f"sides {family.sides!r}: use left, right or both")
    if family.foot not in ("typical", "atypical", "loose"):
        faults.append(f"foot {family.foot!r}: use typical, atypical or loose")
    if family.protocol_id not in protocols:
        faults.append(f"no protocol {family.protocol_id!r}: there are {', '.join(protocols)}")
    elif not faults:
        rules = protocols[family.protocol_id]
        faults += _fault(lambda: rules.variant_for(family.born, family.brace_start, family.foot))
        faults += _fault(lambda: correction_of(family))
    return faults


def _faults_of_caregiver(person: NewCaregiver, now: datetime) -> list[str]:
    faults = [] if person.name.strip() else ["the caregiver's name is missing"]
    faults += _fault(phone_number, person.phone)
    if person.language not in LANGUAGES:
        faults.append(f"no language {person.language!r}: there are {', '.join(LANGUAGES)}")
    if person.time_zone is not None:
        faults += _fault(zone, person.time_zone)
    if not time(8) <= person.contact_time < time(21):
        faults.append(f"contact time {person.contact_time:%H:%M} is in the quiet hours: choose 08:00 to 20:59")
    return faults + _faults_of_consent(person, now)


def _faults_of_consent(person: NewCaregiver, now: datetime) -> list[str]:
    if person.agreed_at is None:
        return []
    faults = [] if person.agreed_at <= now else ["the consent is dated ahead: write down when they agreed"]
    if not (person.agreed_text or "").strip():
        faults.append("the consent names no text: write down which wording they agreed to")
    if not (person.agreed_by or "").strip():
        faults.append("the consent names nobody: write down who asked them")
    if person.agreed_language is not None and person.agreed_language not in LANGUAGES:
        faults.append(f"the consent was in no language {person.agreed_language!r}: there are {', '.join(LANGUAGES)}")
    return faults


def _fault(check: object, *given: str | None) -> list[str]:
    try:
        check(*given)  # type: ignore[operator]
    except ValueError as error:
        return [str(error)]
    return []
