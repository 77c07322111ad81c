"""Background tiles of the map, where the owner sets an address: read, checked, and that one host allowed for images alone.

The address is `OWNSHIP_TILES`, else `address` of `map.toml` in the folder of the owner's data, with {z}, {x} and {y} in it;
`credit` is what the maker of the tiles wants to stand on the map. Without either the map is drawn offline.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import Request, Response

from ownship.errors import BadInput, OwnshipError

SETTING, FILE, LARGEST_BYTES = "OWNSHIP_TILES", "map.toml", 10_000
KEYS = ("address", "credit")
HOST = re.compile(r"[a-z0-9]([a-z0-9.-]{0,251}[a-z0-9])?(:[0-9]{1,5})?")
MARKS = ("{z}", "{x}", "{y}")
HERE = ("127.0.0.1", "localhost")


@dataclass(frozen=True)
class Tiles:
    """Where the tiles come from: the address with its marks, the host alone, what to say on the map."""

    address: str
    origin: str
    credit: str


def tiles_of(address: str, credit: str, where: str) -> Tiles:
    """An address checked; BadInput says what is wrong with it. Plain http is taken from this machine only."""
    try:
        parts = urlsplit(address)
    except ValueError:
        parts = urlsplit("")
    host = parts.netloc.lower()
    secure = parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in HERE)
    sound = all(mark in parts.path + parts.query for mark in MARKS) and not re.search(r"""[\s"'<>\\;,]""", address)
    if not (secure and HOST.fullmatch(host) and sound):
        raise BadInput(f"{where}: {address[:120]!r} is no address of tiles; write one like https://HOST/{{z}}/{{x}}/{{y}}.png, "
                       "one host, without a name or a password in it (http only from this machine).")
    return Tiles(address, f"{parts.scheme}://{host}", credit[:200])


def tiles() -> Tiles | None:
    """The owner's setting; None where there is none. BadInput where it cannot be read."""
    address = os.environ.get(SETTING, "").strip()
    return tiles_of(address, "", SETTING) if address else _of_file()


def _of_file() -> Tiles | None:
    from ownship.questions.importing import data_folder

    path = data_folder() / FILE
    if not path.is_file():
        return None
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise BadInput(f"{FILE} is larger than {LARGEST_BYTES:,} bytes; it holds address and credit only.")
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadInput(f"{FILE} of your data cannot be read ({error}); correct it or take it away.") from None
    wrong = [k for k, v in found.items() if k not in KEYS or not isinstance(v, str)]
    if wrong or "address" not in found:
        raise BadInput(f"{FILE} of your data holds address and credit, each a text in quotes; "
                       f"{f'{wrong[0]!r} is not one' if wrong else 'address is missing'}.")
    return tiles_of(found["address"].strip(), found.get("credit", ""), f"{FILE}, address")


def shown() -> tuple[Tiles | None, str]:
    """For the page: the tiles, or why the setting is not used; the map is then drawn offline."""
    try:
        return tiles(), ""
    except OwnshipError as error:
        return None, str(error)


async def allow(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Add the host of the tiles, and no other, to where images of the Flight screen may come from."""
    response = await call_next(request)
    policy = response.headers.get("Content-Security-Policy", "")
    if request.url.path == "/" and "img-src 'self'" in policy:
        found = shown()[0]
        if found is not None:
            response.headers["Content-Security-Policy"] = policy.replace("img-src 'self'", f"img-src 'self' {found.origin}", 1)
    return response
