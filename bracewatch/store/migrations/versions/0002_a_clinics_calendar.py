"""What a clinic's calendar needs."""

import sqlalchemy as sa
from alembic import op

from bracewatch.store.tables import UtcDateTime

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:

    op.create_table(
        "protocol_text",
        sa.Column("protocol_id", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("protocol_id", "version", name=op.f("pk_protocol_text")),
    )
    op.create_table(
        "child_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("child_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["child_id"], ["child.id"], name=op.f("fk_child_change_child_id_child"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_child_change")),
    )
    with op.batch_alter_table("child_change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_child_change_child_id"), ["child_id"], unique=False)

    op.create_table(
        "foot_fitting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("child_id", sa.Integer(), nullable=False),
        sa.Column("side", sa.Text(), nullable=False),
        sa.Column("measured_on", sa.Date(), nullable=False),
        sa.Column("length_mm", sa.Float(), nullable=True),
        sa.Column("size", sa.Float(), nullable=True),
        sa.Column("recorded_at", UtcDateTime(), nullable=False),
        sa.CheckConstraint("side IN ('left', 'right')", name=op.f("ck_foot_fitting_side")),
        sa.ForeignKeyConstraint(
            ["child_id"], ["child.id"], name=op.f("fk_foot_fitting_child_id_child"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_foot_fitting")),
    )
    with op.batch_alter_table("foot_fitting", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_foot_fitting_child_id"), ["child_id"], unique=False)

    op.create_table(
        "course_protocol",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("protocol_id", sa.Text(), nullable=False),
        sa.Column("protocol_version", sa.Integer(), nullable=False),
        sa.Column("recorded_at", UtcDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["course_id"], ["course.id"], name=op.f("fk_course_protocol_course_id_course"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_course_protocol")),
    )
    with op.batch_alter_table("course_protocol", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_course_protocol_course_id"), ["course_id"], unique=False)

    with op.batch_alter_table("caregiver", schema=None) as batch_op:
        batch_op.add_column(sa.Column("stopped_why", sa.Text(), nullable=True))

    with op.batch_alter_table("clinic", schema=None) as batch_op:
        batch_op.add_column(sa.Column("keeps_holidays", sa.Boolean(), server_default=sa.true(), nullable=False))
        batch_op.add_column(sa.Column("region", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("daily_capacity", sa.Integer(), nullable=True))

    with op.batch_alter_table("course", schema=None) as batch_op:
        batch_op.add_column(sa.Column("rotation_affected", sa.Float(), nullable=True))
        batch_op.add_column(sa.Column("rotation_unaffected", sa.Float(), nullable=True))
        batch_op.add_column(sa.Column("bend", sa.Float(), nullable=True))

    with op.batch_alter_table("course_fact", schema=None) as batch_op:
        batch_op.add_column(sa.Column("until_day", sa.Date(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("caregiver", schema=None) as batch_op:
        batch_op.drop_column("stopped_why")

    with op.batch_alter_table("course_fact", schema=None) as batch_op:
        batch_op.drop_column("until_day")

    with op.batch_alter_table("course", schema=None) as batch_op:
        batch_op.drop_column("bend")
        batch_op.drop_column("rotation_unaffected")
        batch_op.drop_column("rotation_affected")

    with op.batch_alter_table("clinic", schema=None) as batch_op:
        batch_op.drop_column("daily_capacity")
        batch_op.drop_column("region")
        batch_op.drop_column("keeps_holidays")

    with op.batch_alter_table("course_protocol", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_course_protocol_course_id"))

    op.drop_table("course_protocol")
    with op.batch_alter_table("foot_fitting", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_foot_fitting_child_id"))

    op.drop_table("foot_fitting")
    with op.batch_alter_table("child_change", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_child_change_child_id"))

    op.drop_table("child_change")
    op.drop_table("protocol_text")
