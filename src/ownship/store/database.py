"""The one module that knows which database keeps the record: SQLite now. Transactions, schema, copies, and its refusals.

Every write is one transaction (BEGIN IMMEDIATE, write-ahead log, synchronous FULL): when it returns, it is on the disk.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, delete, event, insert, inspect, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import StaticPool

from ownship.errors import BadInput, OwnshipError, UnreadableFile
from ownship.store.tables import ENTRIES, FLIGHTS, SCHEMA

BUSY_S = 20
HEAD = f"schema_{SCHEMA}"
KNOWN = tuple(f"schema_{n}" for n in range(SCHEMA + 1))
MAGIC = b"SQLite format 3\0"
GUARDED = ("entries", "flights")


class FutureRecord(UnreadableFile):
    """The file was written by a newer program."""


class DamagedRecord(UnreadableFile):
    """The file is damaged, or is no record."""


class Database:
    """The record's file. Nothing is made before the first write.

    exists: whether the file is there; before_upgrade: called before an older schema is upgraded (keep a copy); when_empty: called
    where the file is gone or holds nothing; it raises where that cannot be, so that nothing begins anew beside copies.
    """

    def __init__(self, path: str, exists: Callable[[], bool], before_upgrade: Callable[[], None] = lambda: None,
                 when_empty: Callable[[], None] = lambda: None) -> None:
        self.path, self._exists, self._before_upgrade, self._when_empty = path, exists, before_upgrade, when_empty
        self.engine = _listening(create_engine(URL.create("sqlite", database=path), connect_args={"timeout": BUSY_S}))

    @contextmanager
    def reading(self) -> Iterator[Connection | None]:
        """A transaction that reads one state of the record; None where there is no record yet."""
        if not self._exists():
            self._when_empty()
            yield None
            return
        with self._told(), self.engine.connect() as connection, connection.begin():
            found = schema_of(connection, self.path)
            if found == HEAD:
                yield connection
                return
        if found is None:
            self._when_empty()
            yield None
            return
        self._upgrade()
        with self.reading() as connection_now:
            yield connection_now

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that writes: all of it is kept when the block ends well, nothing when it does not."""
        if self._exists():
            self._upgrade_old()
        else:
            self._when_empty()
        with self._told(), self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            upgrade(connection, self.path)
            yield connection

    def _upgrade_old(self) -> None:
        with self._told(), self.engine.connect() as connection, connection.begin():
            old = schema_of(connection, self.path)
        if old is None:
            self._when_empty()
        elif old != HEAD:
            self._upgrade()

    def _upgrade(self) -> None:
        self._before_upgrade()
        with self._told(), self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            upgrade(connection, self.path)

    @contextmanager
    def _told(self) -> Iterator[None]:
        """What the database refuses, in a sentence."""
        try:
            yield
        except (DBAPIError, self.engine.dialect.import_dbapi().Error) as error:
            raise refusal(error, self.path) from None

    def image(self) -> bytes:
        """One state of the whole record as the bytes of a database file, while others read and write."""
        with self._told(), closing(self.engine.raw_connection()) as here, _memory() as copy:
            _driver(here).backup(_driver(copy))
            return _plain_journal(_driver(copy).serialize())

    def damage(self) -> str:
        """What the database's own check finds wrong; "" for nothing, or no record yet."""
        with self.reading() as connection:
            return "" if connection is None else damage(connection)

    def close(self) -> None:
        """Close the files."""
        self.engine.dispose()


def refusal(error: Exception, path: str) -> OwnshipError:
    """The sentence of a database's error; what was being written is not kept."""
    why = str(getattr(error, "orig", None) or error)
    low = why.lower()
    if "locked" in low or "busy" in low:
        return BadInput(f"The record {path} has been in use by another program for {BUSY_S} s, and nothing was written; "
                        "let that one finish and try again.")
    if "full" in low or "disk i/o" in low:
        return BadInput(f"The disk of {path} is full or fails ({why}), and nothing of this was written; what was written before "
                        "is kept. Make room and try again.")
    if "not a database" in low or "malformed" in low:
        return DamagedRecord(f"{path} is damaged or no record of Ownship ({why}); restore your last backup with `ownship restore "
                             "FILE`.")
    if "readonly" in low or "unable to open" in low:
        return UnreadableFile(f"{path} cannot be opened or written ({why}); give yourself the right to its folder, or set "
                              "OWNSHIP_DATA to a folder of your own.")
    return BadInput(f"The record {path} refused this ({why}), and nothing was written; run `ownship doctor`.")


# ---- schema


def schema_of(connection: Connection, path: str) -> str | None:
    """The schema of a file, None for an empty one; refused: a newer program's, and a database that is no record."""
    tables = set(inspect(connection).get_table_names())
    if not tables:
        return None
    if not {"alembic_version", "entries"} <= tables:
        raise DamagedRecord(f"{path} is a database but no record of Ownship; move it away, or set OWNSHIP_DATA to another folder.")
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found not in KNOWN:
        raise FutureRecord(f"{path} was written by a newer Ownship ({found}; this one reads up to {HEAD}), and is left as it is; "
                           "use the newer program.")
    return str(found)


def upgrade(connection: Connection, path: str) -> None:
    """Bring an empty or older record to this program's schema, within the connection's transaction."""
    if schema_of(connection, path) == HEAD:
        return
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "ownship.store:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, HEAD)


def forbid_changes(connection: Connection) -> None:
    """Let the database itself refuse to change or delete what is written."""
    for table in GUARDED:
        for verb in ("UPDATE", "DELETE"):
            connection.execute(text(f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN "
                                    f"SELECT RAISE(ABORT, '{table}: entries are only added'); END"))


def allow_changes(connection: Connection) -> None:
    """Take the guards away, within a restore's transaction."""
    for table in GUARDED:
        for verb in ("update", "delete"):
            connection.execute(text(f"DROP TRIGGER IF EXISTS {table}_no_{verb}"))


def damage(connection: Connection) -> str:
    """What the database's own check finds; "" for nothing."""
    found = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check(10)"))]
    return "" if found == ["ok"] else "; ".join(found)


# ---- copies


@contextmanager
def opened_image(data: bytes, name: str) -> Iterator[Connection]:
    """The bytes of a database file opened in memory, checked and brought to this schema; the bytes stay as they are."""
    if not data.startswith(MAGIC):
        raise DamagedRecord(f"{name} holds no database; choose another backup.")
    try:
        with _memory() as raw:
            _driver(raw).deserialize(_plain_journal(data))
            engine = _listening(create_engine("sqlite://", poolclass=StaticPool, creator=lambda: _driver(raw)))
            with engine.connect() as connection, connection.begin():
                _refuse_damage(connection, name)
                upgrade(connection, name)
                yield connection
    except (DBAPIError, create_engine("sqlite://").dialect.import_dbapi().Error) as error:
        raise refusal(error, name) from None


def _refuse_damage(connection: Connection, name: str) -> None:
    found = damage(connection)
    if found:
        raise DamagedRecord(f"{name} is damaged ({found[:120]}); choose another backup.")
    if schema_of(connection, name) is None:
        raise DamagedRecord(f"{name} holds no record of Ownship; choose another backup.")


def replace_all(source: Connection, target: Connection) -> int:
    """Put the rows of one record in place of another's, within the target's transaction; the count of entries."""
    allow_changes(target)
    for table in (FLIGHTS, ENTRIES):
        target.execute(delete(table))
    count = 0
    for table in (ENTRIES, FLIGHTS):
        rows = [dict(r._mapping) for r in source.execute(select(table).order_by(table.c.number))]
        if rows:
            target.execute(insert(table), rows)
        count = count or len(rows)
    forbid_changes(target)
    return count


def _plain_journal(data: bytes) -> bytes:
    """The same file, marked as without a write-ahead log, which only a file on a disk can have."""
    return data[:18] + b"\1\1" + data[20:]


@contextmanager
def _memory() -> Iterator[Any]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    try:
        with closing(engine.raw_connection()) as raw:
            yield raw
    finally:
        engine.dispose()


def _driver(raw: Any) -> Any:
    return raw.driver_connection


def _listening(engine: Engine) -> Engine:
    """Transactions begin as we say, and the disk is waited for."""
    @event.listens_for(engine, "connect")
    def connected(driver: Any, _record: Any) -> None:
        driver.isolation_level = None
        for pragma in (f"busy_timeout = {BUSY_S * 1000}", "journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            driver.execute(f"PRAGMA {pragma}").fetchall()

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
