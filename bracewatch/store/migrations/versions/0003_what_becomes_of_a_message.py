"""What becomes of a message."""

import sqlalchemy as sa
from alembic import op

from bracewatch.store.tables import UtcDateTime

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "delivery_report",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sid", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("reference", sa.Text(), nullable=True),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("received_at", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery_report")),
        sa.UniqueConstraint("sid", "status", name=op.f("uq_delivery_report_sid_status")),
    )
    op.create_index("ix_delivery_report_reference", "delivery_report", ["reference"], unique=False)
    op.create_table(
        "network",
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("seen_at", UtcDateTime(), nullable=True),
        sa.Column("look_first_before", UtcDateTime(), nullable=True),
        sa.Column("replies_until", UtcDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("channel", name=op.f("pk_network")),
    )
    op.create_table(
        "sender_pace",
        sa.Column("sender", sa.Text(), nullable=False),
        sa.Column("free_at", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("sender", name=op.f("pk_sender_pace")),
    )
    op.create_table(
        "clinic_text",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("language", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("wording", sa.Text(), nullable=False),
        sa.Column("own", sa.Boolean(), server_default=sa.text("false"), nullable=False),
        sa.Column("approved_by", sa.Text(), nullable=False),
        sa.Column("approved_at", UtcDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["clinic_id"], ["clinic.id"], name=op.f("fk_clinic_text_clinic_id_clinic"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic_text")),
    )
    with op.batch_alter_table("clinic_text", schema=None) as batch_op:
        batch_op.create_index("ix_clinic_text_latest", ["clinic_id", "language", "kind"], unique=False)

    op.create_table(
        "sending_stop",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=True),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("stopped_by", sa.Text(), nullable=False),
        sa.Column("stopped_at", UtcDateTime(), nullable=False),
        sa.Column("lifted_by", sa.Text(), nullable=True),
        sa.Column("lifted_at", UtcDateTime(), nullable=True),
        sa.CheckConstraint("cause IN ('person', 'account')", name=op.f("ck_sending_stop_cause")),
        sa.ForeignKeyConstraint(
            ["clinic_id"], ["clinic.id"], name=op.f("fk_sending_stop_clinic_id_clinic"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sending_stop")),
    )
    with op.batch_alter_table("sending_stop", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sending_stop_clinic_id"), ["clinic_id"], unique=False)

    with op.batch_alter_table("caregiver", schema=None) as batch_op:
        batch_op.add_column(sa.Column("agreed_language", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("agreed_by", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("number_failed_at", UtcDateTime(), nullable=True))
        batch_op.add_column(sa.Column("number_failed_code", sa.Text(), nullable=True))

    with op.batch_alter_table("clinic", schema=None) as batch_op:
        batch_op.add_column(sa.Column("sender", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("part_price", sa.Float(), nullable=True))
        batch_op.add_column(sa.Column("part_currency", sa.Text(), nullable=True))

    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.add_column(sa.Column("priority", sa.Integer(), server_default=sa.text("5"), nullable=False))
        batch_op.add_column(sa.Column("handed_at", UtcDateTime(), nullable=True))
        batch_op.add_column(sa.Column("doubted_at", UtcDateTime(), nullable=True))
        batch_op.add_column(sa.Column("channel", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("delivery", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("delivery_code", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("delivery_at", UtcDateTime(), nullable=True))
        batch_op.add_column(sa.Column("settled_by", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("settled_at", UtcDateTime(), nullable=True))
        batch_op.create_index(
            "ix_outbox_open_end",
            ["state"],
            unique=False,
            sqlite_where=sa.text("state IN ('in_doubt', 'unknown')"),
            postgresql_where=sa.text("state IN ('in_doubt', 'unknown')"),
        )
        batch_op.create_index(
            "uq_outbox_sid",
            ["sid"],
            unique=True,
            sqlite_where=sa.text("sid IS NOT NULL"),
            postgresql_where=sa.text("sid IS NOT NULL"),
        )


def downgrade() -> None:
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_outbox_sid", sqlite_where=sa.text("sid IS NOT NULL"), postgresql_where=sa.text("sid IS NOT NULL")
        )
        batch_op.drop_index(
            "ix_outbox_open_end",
            sqlite_where=sa.text("state IN ('in_doubt', 'unknown')"),
            postgresql_where=sa.text("state IN ('in_doubt', 'unknown')"),
        )
        batch_op.drop_column("settled_at")
        batch_op.drop_column("settled_by")
        batch_op.drop_column("delivery_at")
        batch_op.drop_column("delivery_code")
        batch_op.drop_column("delivery")
        batch_op.drop_column("channel")
        batch_op.drop_column("doubted_at")
        batch_op.drop_column("handed_at")
        batch_op.drop_column("priority")

    with op.batch_alter_table("clinic", schema=None) as batch_op:
        batch_op.drop_column("part_currency")
        batch_op.drop_column("part_price")
        batch_op.drop_column("sender")

    with op.batch_alter_table("caregiver", schema=None) as batch_op:
        batch_op.drop_column("number_failed_code")
        batch_op.drop_column("number_failed_at")
        batch_op.drop_column("agreed_by")
        batch_op.drop_column("agreed_language")

    with op.batch_alter_table("sending_stop", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sending_stop_clinic_id"))

    op.drop_table("sending_stop")
    with op.batch_alter_table("clinic_text", schema=None) as batch_op:
        batch_op.drop_index("ix_clinic_text_latest")

    op.drop_table("clinic_text")
    op.drop_table("sender_pace")
    op.drop_table("network")
    op.drop_index("ix_delivery_report_reference", "delivery_report")
    op.drop_table("delivery_report")
