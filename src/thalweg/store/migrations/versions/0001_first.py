"""The first tables: people, cases, facts and their withdrawal, images, audit trail."""

import sqlalchemy as sa
from alembic import op

from thalweg.store.dialect import append_only

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "people",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("reference", sa.Text, nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("born", sa.String(10), nullable=False),
        sa.Column("sex", sa.String(6), nullable=False),
    )
    op.create_table(
        "audit",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("action", sa.Text, nullable=False),
        sa.Column("detail", sa.Text, nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False, unique=True),
    )
    op.create_table(
        "cases",
        sa.Column("id", sa.String(16), primary_key=True),
        sa.Column("person_id", sa.Integer, sa.ForeignKey("people.id"), nullable=False, unique=True),
        sa.Column("entry", sa.Integer, sa.ForeignKey("audit.seq"), nullable=False),
    )
    op.create_table(
        "facts",
        sa.Column("seq", sa.Integer, primary_key=True),
        sa.Column("case_id", sa.String(16), sa.ForeignKey("cases.id"), nullable=False, index=True),
        sa.Column("id", sa.String(16), nullable=False),
        sa.Column("concept", sa.Text, nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.Column("unit", sa.Text),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("origin_kind", sa.Text, nullable=False),
        sa.Column("origin_place", sa.Text, nullable=False),
        sa.Column("questions", sa.Text, nullable=False),
        sa.Column("entry", sa.Integer, sa.ForeignKey("audit.seq"), nullable=False),
        sa.UniqueConstraint("case_id", "id"),
    )
    op.create_table(
        "withdrawals",
        sa.Column("case_id", sa.String(16), primary_key=True),
        sa.Column("fact_id", sa.String(16), primary_key=True),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("entry", sa.Integer, sa.ForeignKey("audit.seq"), nullable=False),
        sa.ForeignKeyConstraint(["case_id", "fact_id"], ["facts.case_id", "facts.id"]),
    )
    op.create_table(
        "images",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("case_id", sa.String(16), sa.ForeignKey("cases.id"), nullable=False, index=True),
        sa.Column("series_uid", sa.Text, nullable=False),
        sa.Column("modality", sa.Text, nullable=False),
        sa.Column("acquired", sa.Text, nullable=False),
        sa.Column("folder", sa.Text, nullable=False),
        sa.Column("phantom", sa.Boolean, nullable=False),
        sa.Column("cautions", sa.Text, nullable=False),
        sa.Column("entry", sa.Integer, sa.ForeignKey("audit.seq"), nullable=False),
        sa.UniqueConstraint("case_id", "series_uid"),
    )
    op.create_table(
        "image_files",
        sa.Column("image_id", sa.Integer, sa.ForeignKey("images.id"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True),
        sa.Column("sha256", sa.String(64), nullable=False, index=True),
    )
    for table in ("facts", "withdrawals", "audit", "images", "image_files"):
        for statement in append_only(op.get_context().dialect.name, table):
            op.execute(statement)
