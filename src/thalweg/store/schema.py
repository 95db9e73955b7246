"""The tables, as SQLAlchemy Core sees them; ``migrations/`` creates them.

Times and decimals are text: what was written comes back to the digit, offset included.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

__all__ = [
    "APPEND_ONLY",
    "HEAD",
    "audit",
    "cases",
    "facts",
    "image_files",
    "images",
    "people",
    "withdrawals",
]

HEAD: Final = "0001"
"""The newest migration."""

metadata: Final = MetaData()

people: Final = Table(
    "people",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("reference", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("born", String(10), nullable=False),
    Column("sex", String(6), nullable=False),
)
cases: Final = Table(
    "cases",
    metadata,
    Column("id", String(16), primary_key=True),
    Column("person_id", ForeignKey("people.id"), nullable=False, unique=True),
    Column("entry", ForeignKey("audit.seq"), nullable=False),
)
facts: Final = Table(
    "facts",
    metadata,
    Column("seq", Integer, primary_key=True),
    Column("case_id", ForeignKey("cases.id"), nullable=False, index=True),
    Column("id", String(16), nullable=False),
    Column("concept", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("kind", String(8), nullable=False),
    Column("value", Text, nullable=False),
    Column("unit", Text),
    Column("at", String(40), nullable=False),
    Column("origin_kind", Text, nullable=False),
    Column("origin_place", Text, nullable=False),
    Column("questions", Text, nullable=False),
    Column("entry", ForeignKey("audit.seq"), nullable=False),
    UniqueConstraint("case_id", "id"),
)
withdrawals: Final = Table(
    "withdrawals",
    metadata,
    Column("case_id", String(16), primary_key=True),
    Column("fact_id", String(16), primary_key=True),
    Column("reason", Text, nullable=False),
    Column("entry", ForeignKey("audit.seq"), nullable=False),
    ForeignKeyConstraint(["case_id", "fact_id"], ["facts.case_id", "facts.id"]),
)
images: Final = Table(
    "images",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("case_id", ForeignKey("cases.id"), nullable=False, index=True),
    Column("series_uid", Text, nullable=False),
    Column("modality", Text, nullable=False),
    Column("acquired", Text, nullable=False),
    Column("folder", Text, nullable=False),
    Column("phantom", Boolean, nullable=False),
    Column("cautions", Text, nullable=False),
    Column("entry", ForeignKey("audit.seq"), nullable=False),
    UniqueConstraint("case_id", "series_uid"),
)
image_files: Final = Table(
    "image_files",
    metadata,
    Column("image_id", ForeignKey("images.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, index=True),
)
audit: Final = Table(
    "audit",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", String(40), nullable=False),
    Column("who", Text, nullable=False),
    Column("action", Text, nullable=False),
    Column("detail", Text, nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False, unique=True),
)

APPEND_ONLY: Final = (facts, withdrawals, audit, images, image_files)
"""Tables whose rows the database itself refuses to change or delete."""
