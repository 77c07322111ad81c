"""Files in, texts out: a file that cannot be read is one sentence."""

from __future__ import annotations

from pathlib import Path

from ownship.errors import UnreadableFile
from ownship.provenance import package_text

LARGEST_BYTES = 5_000_000
DEMO = "demo"


def read_text(path: str | Path, largest_bytes: int = LARGEST_BYTES) -> str:
    """The text of a regular UTF-8 file of at most 5 MB (or what is allowed)."""
    file = Path(path)
    try:
        if not file.exists():
            raise UnreadableFile(f"{path} does not exist; check the name.")
        if not file.is_file():
            raise UnreadableFile(f"{path} is not a file; name a text file.")
        if file.stat().st_size > largest_bytes:
            raise UnreadableFile(f"{path} is larger than {largest_bytes / 1e6:.0f} MB; give a smaller file.")
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableFile(f"{path} is not a text in UTF-8; save it as UTF-8.") from None
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be read: {error.strerror or error}.") from None


def demo_text(name: str) -> str:
    """A file of the invented demo."""
    return package_text("demo", name)
