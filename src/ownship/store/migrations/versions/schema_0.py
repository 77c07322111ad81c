"""Schema 0: entries alone. Written as it was and never changed: later tables do not come in here."""

import sqlalchemy as sa
from alembic import op

revision = "schema_0"
down_revision = None


def upgrade() -> None:
    """Make the table of entries and its indexes."""
    op.create_table(
        "entries",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("uid", sa.Text, nullable=False, unique=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("aeroplane", sa.Text, nullable=False),
        sa.Column("moment", sa.Text, nullable=False),
        sa.Column("recorded", sa.Text, nullable=False),
        sa.Column("corrects", sa.Integer, sa.ForeignKey("entries.number"), unique=True),
        sa.Column("withdrawn", sa.Boolean, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False))
    op.create_index("entries_kind", "entries", ["kind", "aeroplane", "moment"])
    op.create_index("entries_moment", "entries", ["moment"])
