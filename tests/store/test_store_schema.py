"""The schema: made by its steps, upgraded from every earlier one on data, and a later one left alone."""

import sqlite3

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from made_up import flight

from ownship.errors import BadInput, UnreadableFile
from ownship.ownership.entries import Setting, standing
from ownship.questions.keeping import doctor, export, read_export
from ownship.questions.record import NAME, open_record
from ownship.store.codec import body_text, moment_text
from ownship.store.database import HEAD, KNOWN
from ownship.store.tables import METADATA

SCHEMA_0 = """
CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY);
INSERT INTO alembic_version VALUES ('schema_0');
CREATE TABLE entries (number INTEGER NOT NULL PRIMARY KEY, uid TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, aeroplane TEXT NOT NULL,
  moment TEXT NOT NULL, recorded TEXT NOT NULL, corrects INTEGER UNIQUE REFERENCES entries (number), withdrawn BOOLEAN NOT NULL,
  source TEXT NOT NULL, note TEXT NOT NULL, body TEXT NOT NULL);
CREATE INDEX entries_kind ON entries (kind, aeroplane, moment);
CREATE INDEX entries_moment ON entries (moment);
"""


def old_record(folder):
    """A record of schema 0 built by hand: four flights, one corrected, one withdrawn, one without air time; a setting."""
    bodies = [flight(0), flight(1), flight(2, take_off=None, night_s=1200.0), flight(3), flight(1, landings_night=2), flight(3),
              Setting("a", "Å")]
    corrects = {4: 2, 5: 4}
    with sqlite3.connect(folder / NAME) as file:
        file.executescript(SCHEMA_0)
        for i, body in enumerate(bodies):
            moment = moment_text(getattr(body, "off_blocks", flight(0).off_blocks))
            file.execute("INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?,?,?)", (
                i + 1, f"uid-{i}", body.KIND, "N0160T", moment, moment, corrects.get(i), i == 5, "owner", "", body_text(body)))
    file.close()
    return bodies


def test_the_steps_make_the_tables_that_the_program_uses(tmp_path):
    records = open_record(tmp_path)
    records.append(Setting("a", "b"))
    with records.database.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), METADATA) == []
    records.close()


def test_the_steps_are_one_line_of_schemas_and_end_at_this_programs():
    config = Config()
    config.set_main_option("script_location", "ownship.store:migrations")
    steps = [step.revision for step in ScriptDirectory.from_config(config).walk_revisions()]
    assert tuple(reversed(steps)) == KNOWN and steps[0] == HEAD


def test_a_record_of_schema_0_is_upgraded_with_its_data_and_a_copy_is_kept(tmp_path):
    bodies = old_record(tmp_path)
    records = open_record(tmp_path)
    entries = records.all()
    assert [e.body for e in entries] == bodies and [e.uid for e in entries] == [f"uid-{i}" for i in range(7)]
    assert [e.number for e in standing(entries)] == [1, 7, 5, 3]
    totals = records.flight_totals("N0160T")
    assert (totals.flights, totals.flight_s, totals.air_s, totals.without_air, totals.night_s, totals.landings_night) == (
        3, 3 * 4200.0, 2 * 3420.0, 1, 1200.0, 2)
    copies = list(tmp_path.glob("record-before-upgrade-*.sqlite"))
    assert len(copies) == 1
    with sqlite3.connect(copies[0]) as old:
        assert old.execute("SELECT version_num FROM alembic_version").fetchall() == [("schema_0",)]
        assert old.execute("SELECT count(*) FROM entries").fetchall() == [(7,)]
    old.close()
    records.close()


def test_what_the_upgrade_works_out_is_what_writing_works_out(tmp_path):
    (tmp_path / "old").mkdir()
    old_record(tmp_path / "old")
    export(str(tmp_path / "out"), tmp_path / "old")
    read_export(str(tmp_path / "out"), tmp_path / "new")
    rows = []
    for folder in ("old", "new"):
        with sqlite3.connect(tmp_path / folder / NAME) as file:
            rows.append(file.execute("SELECT * FROM flights ORDER BY number").fetchall())
        file.close()
    assert rows[0] == rows[1] and len(rows[0]) == 5


def test_a_first_write_upgrades_too(tmp_path):
    old_record(tmp_path)
    records = open_record(tmp_path)
    assert records.append(flight(8)).number == 8
    assert records.flight_totals().flights == 4
    records.close()


@pytest.mark.parametrize("ask", [lambda r: r.all(), lambda r: r.append(Setting("a", "c")), lambda r: r.flight_totals()])
def test_a_record_of_a_newer_program_is_left_alone(tmp_path, ask):
    records = open_record(tmp_path)
    records.append(Setting("a", "b"))
    records.close()
    with sqlite3.connect(tmp_path / NAME) as file:
        file.execute("UPDATE alembic_version SET version_num = 'schema_99'")
    file.close()
    before = (tmp_path / NAME).read_bytes()
    with pytest.raises(UnreadableFile, match="newer Ownship \\(schema_99"):
        ask(open_record(tmp_path))
    assert (tmp_path / NAME).read_bytes() == before
    assert "newer Ownship" in doctor(tmp_path).damage


@pytest.mark.parametrize("content", [b"not a database at all, but text that somebody saved here" * 40, b"SQLite format 3\0" + b"\7" * 5000])
def test_a_file_that_is_no_database_is_a_sentence(tmp_path, content):
    (tmp_path / NAME).write_bytes(content)
    for ask in (lambda r: r.all(), lambda r: r.append(Setting("a", "b"))):
        with pytest.raises(BadInput, match="damaged or no record") as refused:
            ask(open_record(tmp_path))
        assert "\n" not in str(refused.value)
    assert (tmp_path / NAME).read_bytes() == content
    assert "damaged" in doctor(tmp_path).damage


def test_another_programs_database_is_left_alone(tmp_path):
    with sqlite3.connect(tmp_path / NAME) as file:
        file.execute("CREATE TABLE entries (x)")
    file.close()
    with pytest.raises(UnreadableFile, match="no record of Ownship"):
        open_record(tmp_path).append(Setting("a", "b"))


def test_an_empty_file_is_an_empty_record(tmp_path):
    (tmp_path / NAME).touch()
    records = open_record(tmp_path)
    assert records.all() == () and records.append(Setting("a", "b")).number == 1
    records.close()


def test_a_folder_in_the_way_is_a_sentence(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(UnreadableFile, match="cannot be made"):
        open_record(tmp_path / "file").append(Setting("a", "b"))
    (tmp_path / "other" / NAME).mkdir(parents=True)
    with pytest.raises(UnreadableFile, match="cannot be opened"):
        open_record(tmp_path / "other").append(Setting("a", "b"))


def test_pages_that_are_damaged_are_found_by_the_doctor_and_at_restore(tmp_path):
    records = open_record(tmp_path)
    records.append_many([flight(i) for i in range(200)])
    records.close()
    data = bytearray((tmp_path / NAME).read_bytes())
    data[4096 * 5:4096 * 9] = b"\x55" * 4096 * 4
    (tmp_path / NAME).write_bytes(data)
    found = doctor(tmp_path)
    assert found.damage and found.advice[0].startswith("The record is not sound")
