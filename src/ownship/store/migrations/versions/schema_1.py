"""Schema 1: the table of flights, filled from the entries; entries can only be added.

The bodies are read as plain JSON, as they were when this step was written, not through the program's classes.
"""

import json
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

from ownship.store.database import forbid_changes

revision = "schema_1"
down_revision = "schema_0"


def upgrade() -> None:
    """Make and fill the table of flights, then guard both tables."""
    flights = op.create_table(
        "flights",
        sa.Column("number", sa.Integer, sa.ForeignKey("entries.number"), primary_key=True, autoincrement=False),
        sa.Column("aeroplane", sa.Text, nullable=False),
        sa.Column("pilot", sa.Text, nullable=False),
        sa.Column("moment", sa.Text, nullable=False),
        sa.Column("flight_s", sa.Float, nullable=False),
        sa.Column("air_s", sa.Float),
        sa.Column("night_s", sa.Float, nullable=False),
        sa.Column("landings_day", sa.Integer, nullable=False),
        sa.Column("landings_night", sa.Integer, nullable=False))
    op.create_index("flights_moment", "flights", ["moment"])
    op.create_index("flights_aeroplane", "flights", ["aeroplane", "moment"])
    entries = sa.table("entries", *(sa.column(c) for c in ("number", "kind", "aeroplane", "moment", "withdrawn", "body")))
    wanted = sa.select(entries).where(entries.c.kind == "flight", entries.c.withdrawn == sa.false())
    rows = [_flight(row) for row in op.get_bind().execute(wanted)]
    op.bulk_insert(flights, rows)
    forbid_changes(op.get_bind())


def _flight(row: Any) -> dict[str, Any]:
    body = json.loads(row.body)
    landed = body.get("take_off") is not None and body.get("landing") is not None
    return {"number": row.number, "aeroplane": row.aeroplane, "pilot": body.get("pilot", ""), "moment": row.moment,
            "flight_s": _seconds(body["off_blocks"], body["on_blocks"]),
            "air_s": _seconds(body["take_off"], body["landing"]) if landed else None, "night_s": body.get("night_s", 0.0),
            "landings_day": body.get("landings_day", 0), "landings_night": body.get("landings_night", 0)}


def _seconds(start: str, end: str) -> float:
    return (datetime.fromisoformat(end) - datetime.fromisoformat(start)).total_seconds()
