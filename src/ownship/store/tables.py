"""The tables of the record, in SQLAlchemy's own words: no statement here belongs to one database."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, MetaData, Table, Text

SCHEMA = 1  # the schema this program writes; every earlier one is upgraded, a later one refused
METADATA = MetaData()

ENTRIES = Table(
    "entries", METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("uid", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("aeroplane", Text, nullable=False),
    Column("moment", Text, nullable=False),
    Column("recorded", Text, nullable=False),
    Column("corrects", Integer, ForeignKey("entries.number"), unique=True),  # an entry is corrected once, then its correction
    Column("withdrawn", Boolean, nullable=False),
    Column("source", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("body", Text, nullable=False),
    Index("entries_kind", "kind", "aeroplane", "moment"),
    Index("entries_moment", "moment"))

# Worked out from the bodies and written with them, so that totals need no body: nothing here that entries do not say.
FLIGHTS = Table(
    "flights", METADATA,
    Column("number", Integer, ForeignKey("entries.number"), primary_key=True, autoincrement=False),
    Column("aeroplane", Text, nullable=False),
    Column("pilot", Text, nullable=False),
    Column("moment", Text, nullable=False),
    Column("flight_s", Float, nullable=False),
    Column("air_s", Float),
    Column("night_s", Float, nullable=False),
    Column("landings_day", Integer, nullable=False),
    Column("landings_night", Integer, nullable=False),
    Index("flights_moment", "moment"),
    Index("flights_aeroplane", "aeroplane", "moment"))
