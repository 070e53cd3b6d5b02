"""The tables. Facts are rows and the truth; what follows from them (timelines, flags) is worked out again."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    Time,
    UniqueConstraint,
    false,
    text,
    true,
)
from sqlalchemy.types import JSON, TypeDecorator


class UtcDateTime(TypeDecorator[datetime]):
    """Aware datetimes in and out, stored in UTC. Refuses naive ones: nobody knows what they mean."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"need an aware datetime: {value!r}")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Typed(TypeDecorator[str]):
    """What people type or send, kept as it came but for what no database holds: a NUL, or half a character.

    Either is shown by the replacement character (U+FFFD), so that nothing is lost without a trace.
    """

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        if value is None:
            return None
        whole = value.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
        return whole.replace("\x00", "\ufffd")


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _id() -> Column[int]:
    return Column("id", Integer, primary_key=True)


clinic = Table(
    "clinic",
    metadata,
    _id(),
    Column("key", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("country", Text, nullable=False),
    Column("time_zone", Text, nullable=False),
    Column("clinic_days", Text, nullable=False),  # as in "tue,fri"
    Column("keeps_holidays", Boolean, nullable=False, server_default=true()),  # the public ones of its country
    Column("region", Text),  # ISO 3166-2 without the country, where its holidays differ
    Column("daily_capacity", Integer),  # children a day; null: no limit
    Column("phone", Text, nullable=False),
    # Whom the network shows as the sender: an E.164 number, a short code, or a messaging service. Null: the setting.
    Column("sender", Text),
    Column("part_price", Float),  # what one part costs, in `part_currency`; null: nobody said
    Column("part_currency", Text),  # ISO 4217
)

clinic_closed_day = Table(
    "clinic_closed_day",
    metadata,
    Column("clinic_id", ForeignKey("clinic.id", ondelete="CASCADE"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("reason", Text, nullable=False),
)

child = Table(
    "child",
    metadata,
    _id(),
    Column("clinic_id", ForeignKey("clinic.id"), nullable=False, index=True),
    Column("name", Typed, nullable=False),
    Column("born", Date, nullable=False),
    Column("enrolled_on", Date, nullable=False),
    Column("enrolled_at", UtcDateTime, nullable=False),
    # The earliest moment at which a review could change without new facts; null: only new facts can.
    Column("wake_at", UtcDateTime, index=True),
)

caregiver = Table(
    "caregiver",
    metadata,
    _id(),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("name", Typed, nullable=False),
    Column("phone", Text, nullable=False, index=True),  # E.164
    Column("language", Text, nullable=False),
    Column("time_zone", Text, nullable=False),
    Column("contact_time", Time, nullable=False),
    Column("agreed_at", UtcDateTime),
    Column("agreed_text", Text),  # which wording they agreed to
    Column("agreed_language", Text),
    Column("agreed_by", Typed),  # who asked them and wrote it down
    Column("stopped_at", UtcDateTime),
    Column("stopped_why", Text),
    # When the network said that nothing gets through to the number; null: not known, or the number is new.
    Column("number_failed_at", UtcDateTime),
    Column("number_failed_code", Text),
)

course = Table(
    "course",
    metadata,
    _id(),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False),
    Column("number", Integer, nullable=False),  # 1 is the first; a relapse starts the next
    Column("protocol_id", Text, nullable=False),
    Column("protocol_version", Integer, nullable=False),
    Column("brace_start", Date, nullable=False),
    Column("sides", Text, nullable=False),
    Column("foot", Text, nullable=False),
    # Degrees as measured at the end of casting; null: not written down.
    Column("abduction_before_release", Float),
    Column("abduction_last_cast", Float),
    Column("dorsiflexion", Float),
    Column("rotation_affected", Float),
    Column("rotation_unaffected", Float),
    Column("bend", Float),
    UniqueConstraint("child_id", "number"),
    CheckConstraint("sides IN ('left', 'right', 'both')", name="sides"),
    CheckConstraint("foot IN ('typical', 'atypical', 'loose')", name="foot"),
)

course_fact = Table(
    "course_fact",
    metadata,
    _id(),
    Column("course_id", ForeignKey("course.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("kind", Text, nullable=False),
    Column("on_day", Date, nullable=False),
    Column("about", Text, nullable=False),
    Column("until_day", Date),
    Column("note", Typed, nullable=False, server_default=text("''")),
    Column("recorded_at", UtcDateTime, nullable=False),
)

# The wording of every protocol a course began with: a course keeps it when the file changes.
protocol_text = Table(
    "protocol_text",
    metadata,
    Column("protocol_id", Text, primary_key=True),
    Column("version", Integer, primary_key=True),
    Column("text", Text, nullable=False),
)

# From which day a course follows which protocol; the course's own columns hold the first.
course_protocol = Table(
    "course_protocol",
    metadata,
    _id(),
    Column("course_id", ForeignKey("course.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("from_day", Date, nullable=False),
    Column("protocol_id", Text, nullable=False),
    Column("protocol_version", Integer, nullable=False),
    Column("recorded_at", UtcDateTime, nullable=False),
)

# A correction of what was written down about a child: birth date, clinic, a caregiver's zone.
child_change = Table(
    "child_change",
    metadata,
    _id(),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("what", Text, nullable=False),
    Column("old", Text, nullable=False),
    Column("new", Text, nullable=False),
    Column("recorded_at", UtcDateTime, nullable=False),
)

foot_fitting = Table(
    "foot_fitting",
    metadata,
    _id(),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("side", Text, nullable=False),
    Column("measured_on", Date, nullable=False),
    Column("length_mm", Float),
    Column("size", Float),  # European size of the boot issued; null: measured only
    Column("recorded_at", UtcDateTime, nullable=False),
    CheckConstraint("side IN ('left', 'right')", name="side"),
)

inbound = Table(
    "inbound",
    metadata,
    _id(),
    Column("sid", Text, nullable=False, unique=True),  # the network's own name for it: a repeat is the same reply
    Column("phone", Text, nullable=False),
    Column("caregiver_id", ForeignKey("caregiver.id", ondelete="SET NULL"), index=True),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), index=True),
    Column("body", Typed, nullable=False),  # as it came
    Column("received_at", UtcDateTime, nullable=False),
    Column("asked", Text, nullable=False),  # the question in whose light it was read
    Column("meaning", Text, nullable=False),
    Column("about", Text),
    Column("value_low", Float),
    Column("value_high", Float),
    Column("confidence", Float, nullable=False),
    Column("rule", Text, nullable=False),
    Column("next", Text, nullable=False),
    Column("handled_at", UtcDateTime),
)

wear_report = Table(
    "wear_report",
    metadata,
    _id(),
    Column("course_id", ForeignKey("course.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("inbound_id", ForeignKey("inbound.id", ondelete="SET NULL")),
    Column("kind", Text, nullable=False),
    Column("day", Date, nullable=False),
    Column("low", Float, nullable=False),
    Column("high", Float, nullable=False),
    Column("heard_at", UtcDateTime, nullable=False),
    CheckConstraint("kind IN ('hours', 'nights')", name="kind"),
    CheckConstraint("0 <= low AND low <= high AND high <= 24", name="range"),
)

outbox = Table(
    "outbox",
    metadata,
    _id(),
    Column("key", Text, nullable=False, unique=True),  # the moment it is said for: nothing is said twice
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("caregiver_id", ForeignKey("caregiver.id", ondelete="CASCADE"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("asks", Text, nullable=False),
    Column("language", Text, nullable=False),
    Column("phone", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("parts", Integer, nullable=False),
    Column("due_at", UtcDateTime, nullable=False),
    Column("useful_until", UtcDateTime, nullable=False),
    Column("priority", Integer, nullable=False, server_default=text("5")),  # the lower goes out first
    Column("state", Text, nullable=False),
    Column("attempt", Integer, nullable=False, server_default=text("0")),
    Column("owner", Text),  # who claimed it; with `attempt`, the fence of every later update
    Column("lease_until", UtcDateTime),
    Column("handed_at", UtcDateTime),  # when it was last claimed to be handed over
    Column("doubted_at", UtcDateTime),  # since when it is in doubt
    Column("channel", Text),  # over which it went
    Column("sid", Text),
    Column("sent_at", UtcDateTime),
    Column("error", Text),
    # What the network reported since: its own word, its error code, and when we heard.
    Column("delivery", Text),
    Column("delivery_code", Text),
    Column("delivery_at", UtcDateTime),
    Column("settled_by", Typed),  # who decided what became of a message that nobody could find
    Column("settled_at", UtcDateTime),
    Column("created_at", UtcDateTime, nullable=False),
    CheckConstraint(
        "state IN ('queued', 'sending', 'sent', 'failed', 'in_doubt', 'unknown', 'expired', 'withdrawn')",
        name="state",
    ),
)
Index(
    "ix_outbox_waiting",
    outbox.c.due_at,
    sqlite_where=outbox.c.state.in_(["queued", "sending"]),
    postgresql_where=outbox.c.state.in_(["queued", "sending"]),
)
Index("ix_outbox_asked", outbox.c.caregiver_id, outbox.c.sent_at)
Index(
    "ix_outbox_open_end",
    outbox.c.state,
    sqlite_where=outbox.c.state.in_(["in_doubt", "unknown"]),
    postgresql_where=outbox.c.state.in_(["in_doubt", "unknown"]),
)
# Two rows never stand for one message at the network.
Index(
    "uq_outbox_sid",
    outbox.c.sid,
    unique=True,
    sqlite_where=outbox.c.sid.is_not(None),
    postgresql_where=outbox.c.sid.is_not(None),
)

# What the network reported of a message, as it came: a repeat is the same report.
delivery_report = Table(
    "delivery_report",
    metadata,
    _id(),
    Column("sid", Text, nullable=False),
    Column("status", Text, nullable=False),
    Column("reference", Text),  # the outbox key; null: it came without
    Column("code", Text),
    Column("received_at", UtcDateTime, nullable=False),
    UniqueConstraint("sid", "status"),
)
Index("ix_delivery_report_reference", delivery_report.c.reference)

# What all sender processes share about one network.
network = Table(
    "network",
    metadata,
    Column("channel", Text, primary_key=True),
    Column("seen_at", UtcDateTime),  # when a sender last ran; a gap means a stop, or a restored backup
    # What was due before this moment may have gone out already, unknown to this database: look before sending.
    Column("look_first_before", UtcDateTime),
    Column("replies_until", UtcDateTime),  # up to when replies have been fetched
)

# When a sender's next part may go out: the pace that its number allows, shared by all processes.
sender_pace = Table(
    "sender_pace",
    metadata,
    Column("sender", Text, primary_key=True),
    Column("free_at", UtcDateTime, nullable=False),
)

# The stop switch: while a row stands (not lifted) nothing is sent for that clinic, or for any.
sending_stop = Table(
    "sending_stop",
    metadata,
    _id(),
    Column("clinic_id", ForeignKey("clinic.id", ondelete="CASCADE"), index=True),  # null: all clinics
    Column("cause", Text, nullable=False),  # "person": somebody pressed it; "account": a fault of our account
    Column("why", Typed, nullable=False),
    Column("stopped_by", Typed, nullable=False),
    Column("stopped_at", UtcDateTime, nullable=False),
    Column("lifted_by", Typed),
    Column("lifted_at", UtcDateTime),
    CheckConstraint("cause IN ('person', 'account')", name="cause"),
)

# The texts a clinic has read and approved, word for word: the last row of a text counts. A shipped text that
# changes is a draft again, because its approved wording is another.
clinic_text = Table(
    "clinic_text",
    metadata,
    _id(),
    Column("clinic_id", ForeignKey("clinic.id", ondelete="CASCADE"), nullable=False),
    Column("language", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("wording", Typed, nullable=False),  # with its placeholders; empty: approval withdrawn
    Column("own", Boolean, nullable=False, server_default=false()),  # the clinic's own, not the shipped one
    Column("approved_by", Typed, nullable=False),
    Column("approved_at", UtcDateTime, nullable=False),
)
Index("ix_clinic_text_latest", clinic_text.c.clinic_id, clinic_text.c.language, clinic_text.c.kind)

flag = Table(
    "flag",
    metadata,
    _id(),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("code", Text, nullable=False),
    Column("urgency", Integer, nullable=False),
    Column("sentence", Text, nullable=False),
    Column("evidence", JSON, nullable=False),
    Column("since", UtcDateTime, nullable=False),
    Column("raised_at", UtcDateTime, nullable=False),
    Column("cleared_at", UtcDateTime),
)
Index(
    "uq_flag_standing",
    flag.c.child_id,
    flag.c.code,
    unique=True,
    sqlite_where=flag.c.cleared_at.is_(None),
    postgresql_where=flag.c.cleared_at.is_(None),
)

call = Table(
    "call",
    metadata,
    _id(),
    Column("child_id", ForeignKey("child.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("called_at", UtcDateTime, nullable=False),
    Column("outcome", Text, nullable=False),
    Column("note", Typed, nullable=False, server_default=text("''")),
)
