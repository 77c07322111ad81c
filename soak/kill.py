"""`python -m soak kill`: kill -9 while the record is written, many times; nothing acknowledged may be lost."""

import importlib
import sys
import tempfile
import time
from pathlib import Path

HELPERS = Path(__file__).resolve().parent.parent / "tests" / "store"


def kill(count):
    """Kill `count` writing children; print what was seen; True where nothing was lost."""
    sys.path.insert(0, str(HELPERS))  # the children import it by its name too
    killing = importlib.import_module("killing")
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        acknowledged, found = killing.kills(Path(folder), count)
    say = sys.stdout.write
    say(f"{count} kills in {time.perf_counter() - started:.0f} s; entries acknowledged before {acknowledged} of them\n")
    say("\n".join(found) + "\n" if found else "Nothing acknowledged was lost, no batch halved, totals equal.\n")
    return not found and acknowledged >= count // 2
