"""Data that the owner brings: terrain tiles and newer aerodrome files, checked, then kept whole in the data folder.

Every file is read and judged before the first is written; each is written whole or not at all. A file's own date of last
change is kept as the date of its data.
"""

from __future__ import annotations

import hashlib
import io
import os
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput, OwnshipError, UnreadableFile
from ownship.questions.places import replacing, today

if TYPE_CHECKING:
    from ownship.world.aerodrome_database import ImportedTable
    from ownship.world.terrain import Posts, Terrain

TABLES = {"airports.csv": "airports", "runways.csv": "runways", "airport-frequencies.csv": "frequencies", "navaids.csv": "navaids"}
LARGEST_BYTES = 60_000_000  # the largest file of aerodromes has 13 MB, the largest tile 26 MB
TILES_OPEN = 64
TERRAIN_SOURCE = ".hgt tiles imported by the owner"


@dataclass(frozen=True)
class ImportReport:
    """What an import did, a sentence a file: taken, already there, refused and why; and names that are no data of ours."""

    taken: tuple[str, ...]
    already: tuple[str, ...]
    refused: tuple[str, ...]
    ignored: tuple[str, ...]


@dataclass(frozen=True)
class _Offer:
    """A file that passed its checks: where it comes from and goes to, the digest of what was checked, and what it is."""

    source: Path
    target: Path
    digest: str
    day: date
    words: str


def data_folder() -> Path:
    """The folder of the owner's data (OWNSHIP_DATA, else the user's data folder); it need not exist."""
    from platformdirs import user_data_path

    return Path(os.environ["OWNSHIP_DATA"]) if os.environ.get("OWNSHIP_DATA") else user_data_path("ownship")


# ---- what was imported


def terrain(folder: Path | None = None) -> Terrain:
    """The imported tiles, mapped into memory when first asked for, the last 64 kept open.

    A tile that is not there is None: not known. A damaged one is refused in a sentence.
    """
    from ownship.world.terrain import Terrain, tile_name

    tiles = (folder or data_folder()) / "terrain"

    @lru_cache(maxsize=TILES_OPEN)
    def tile(south: int, west: int) -> Posts | None:
        return _mapped(tiles / f"{tile_name(south, west)}.hgt")

    return Terrain(tile, TERRAIN_SOURCE)


def _mapped(path: Path) -> Posts | None:
    import numpy as np

    from ownship.world.terrain import tile_side

    try:
        side = tile_side(path.name, path.stat().st_size)
        return np.memmap(path, dtype=">i2", mode="r", shape=(side, side))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be read: {error.strerror or error}.") from None


def aerodrome_tables(folder: Path | None = None) -> dict[str, ImportedTable]:
    """The imported aerodrome files by table, for `aerodrome_database.build` and `key`; empty if none was imported."""
    from ownship.world.aerodrome_database import ImportedTable

    kept = (folder or data_folder()) / "aerodromes"
    try:
        return {table: ImportedTable(_bytes(kept / name), _day(kept / name).isoformat())
                for name, table in TABLES.items() if (kept / name).is_file()}
    except OSError as error:  # also of the folder itself
        raise UnreadableFile(f"{kept} cannot be read: {error.strerror or error}.") from None
    except UnreadableFile as error:
        raise UnreadableFile(f"A file of aerodromes in {kept} is not usable: {error}") from None


# ---- importing


def import_folder(folder: str | Path, into: str | Path | None = None, data_date: date | None = None) -> ImportReport:
    """Take the .hgt and .hgt.zip tiles and aerodrome CSV files of a folder (not of folders in it) into the data folder.

    All are checked first, then those that passed are written, each whole or not at all; what is there already is left as
    it is, and an older file never replaces a newer one, nor a coarser tile a finer. `data_date`: the day the data are of,
    else each file's own date. Raises UnreadableFile where the folder cannot be read, BadInput where it is the data folder.
    """
    where, kept = Path(folder), Path(into) if into is not None else data_folder()
    offers: dict[Path, _Offer] = {}
    refused, ignored = [], []
    for path in _names(where, kept):
        judge = _judge(path)
        if judge is None:
            ignored.append(path.name)
            continue
        try:
            offer = judge(path, kept, data_date or _day(path))
            _refuse_late(offer.day, path.name)
            _refuse_second(offer, offers)
            _refuse_older(offer)
            offers[offer.target] = offer
        except (OwnshipError, OSError) as error:
            refused.append(_refusal(path, kept, error))
    taken: list[str] = []
    already: list[str] = []
    for offer in offers.values():
        try:
            if _write(offer, redate=data_date is not None):
                taken.append(offer.words)
            else:
                already.append(f"{offer.target.name} of {_day(offer.target)} is there already, the same.")
        except (OwnshipError, OSError) as error:
            refused.append(_refusal(offer.source, kept, error))
    return ImportReport(tuple(taken), tuple(already), tuple(refused), tuple(ignored))


def _refusal(path: Path, kept: Path, error: OwnshipError | OSError) -> str:
    why = str(error) if isinstance(error, OwnshipError) else (
        f"it cannot be kept in {kept} ({error.strerror or error}); make room, or set OWNSHIP_DATA to a folder of your own.")
    return f"{path.name}: {why}"


def _names(where: Path, kept: Path) -> list[Path]:
    try:
        if not where.is_dir():
            raise UnreadableFile(f"{where} is not a folder; name the folder that holds the files.")
        if where.resolve().is_relative_to(kept.resolve()):
            raise BadInput(f"{where} is the data folder itself; name the folder that the new files are in.")
        return sorted(where.iterdir())
    except OSError as error:
        raise UnreadableFile(f"{where} cannot be read: {error.strerror or error}.") from None


def _judge(path: Path) -> Callable[[Path, Path, date], _Offer] | None:
    """The check that a name asks for; None for a name that is none of ours."""
    name = path.name.lower()
    return (_table if name in TABLES else _tile if name.endswith(".hgt") else
            _zipped_tile if name.endswith(".hgt.zip") else None)


def _table(path: Path, kept: Path, day: date) -> _Offer:
    from ownship.world.aerodrome_database import DATA_DATE, check_rows

    name, data = path.name.lower(), _bytes(path)
    count = check_rows(TABLES[name], data)
    if day < date.fromisoformat(DATA_DATE):
        raise BadInput(f"It is dated {day}, and the data that come with the program are of {DATA_DATE}; bring a newer one.")
    words = f"{name} of {day}: {count:,} rows, in place of the whole file of {DATA_DATE}; what it does not hold is not known."
    return _Offer(path, kept / "aerodromes" / name, _digest(data), day, words)


def _tile(path: Path, kept: Path, day: date) -> _Offer:
    return _tile_offer(path, path.name[:-len(".hgt")], kept, day)


def _zipped_tile(path: Path, kept: Path, day: date) -> _Offer:
    member = _member(path)[0]
    stem = member[:-len(".hgt")]
    plain = member.lower().endswith(".hgt") and "/" not in member and "\\" not in member
    if not plain or not path.name.upper().startswith(stem.upper()):
        raise BadInput(f"It holds {member[:80]!r}, and only the tile the zip is named for is allowed, in no folder; unpack it.")
    return _tile_offer(path, stem, kept, day)


def _tile_offer(path: Path, stem: str, kept: Path, day: date) -> _Offer:
    import numpy as np

    from ownship.world.terrain import check_posts, tile_corner, tile_name, tile_side

    name = tile_name(*tile_corner(stem))
    data = _content(path)
    side = tile_side(name, len(data))
    check_posts(name, np.frombuffer(data, dtype=">i2").reshape(side, side))
    return _Offer(path, kept / "terrain" / f"{name}.hgt", _digest(data), day, f"{name} of {day}: {side} posts a side.")


def _refuse_late(day: date, name: str) -> None:
    if day > max(today(), datetime.now(UTC).date()):
        raise BadInput(f"{name} is dated {day}, after today; set the clock, or say the date of the data.")


def _refuse_second(offer: _Offer, offers: dict[Path, _Offer]) -> None:
    if offer.target in offers:
        raise BadInput(f"{offers[offer.target].source.name} of the same folder gives {offer.target.name} too; keep one of them.")


def _refuse_older(offer: _Offer) -> None:
    """An older file, or a coarser tile, does not replace another that is there."""
    there = offer.target
    if not there.is_file() or _digest(_bytes(there)) == offer.digest:
        return
    size, new = there.stat().st_size, len(_content(offer.source))
    if there.suffix == ".hgt" and new != size:
        if new < size:
            raise BadInput(f"It is coarser than the {there.name} kept in {there.parent}; remove that one first.")
        return
    if offer.day < _day(there):
        raise BadInput(f"It is dated {offer.day}, and the {there.name} kept in {there.parent} is of {_day(there)}; remove that one "
                       "first.")


def _write(offer: _Offer, *, redate: bool) -> bool:
    """Write what was checked, with the date of its data; False where the same is there already."""
    data = _content(offer.source)
    if _digest(data) != offer.digest:
        raise BadInput("It changed while it was being read; wait until it is complete and import again.")
    same = offer.target.is_file() and _digest(_bytes(offer.target)) == offer.digest
    if same and not (redate and _day(offer.target) != offer.day):
        return False
    offer.target.parent.mkdir(parents=True, exist_ok=True)
    noon = datetime.combine(offer.day, time(12), UTC).timestamp()
    with replacing(offer.target) as fresh:
        with fresh.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.utime(fresh, (noon, noon))  # before it takes its place: never there with another date
    return True


# ---- files


def _content(path: Path) -> bytes:
    """The data of a file, or of the one member of a zip."""
    return _member(path)[1] if path.name.lower().endswith(".zip") else _bytes(path)


def _member(path: Path) -> tuple[str, bytes]:
    """Name and bytes of the one member of a zip; never unpacked to disk, and never more read than a tile may have."""
    try:
        with zipfile.ZipFile(io.BytesIO(_bytes(path))) as archive:
            members = [m for m in archive.infolist() if not m.is_dir()]
            if len(members) != 1:
                raise BadInput(f"It holds {len(members)} files, and one tile is allowed; unpack it and import the tiles.")
            with archive.open(members[0]) as file:
                data = file.read(LARGEST_BYTES + 1)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, zlib.error, EOFError, ValueError, OSError) as error:
        raise UnreadableFile(f"It is not a readable zip ({str(error)[:80].rstrip('.')}); fetch it again.") from None
    if len(data) > LARGEST_BYTES:
        raise BadInput(f"Its member is larger than {LARGEST_BYTES / 1e6:.0f} MB, more than any tile has; fetch it again.")
    return members[0].filename, data


def _day(path: Path) -> date:
    """The day (UTC) a file was last changed."""
    try:
        return datetime.fromtimestamp(path.stat().st_mtime, UTC).date()
    except (OSError, OverflowError, ValueError):
        raise UnreadableFile(f"The date of {path} cannot be read; copy the file again.") from None


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _bytes(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise UnreadableFile("It is not a file.")
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise UnreadableFile(f"It cannot be read: {error.strerror or error}.") from None
    if len(data) > LARGEST_BYTES:
        raise UnreadableFile(f"It is larger than {LARGEST_BYTES / 1e6:.0f} MB, more than any tile or table has.")
    return data
