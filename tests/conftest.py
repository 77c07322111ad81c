"""One cache for the whole run, so that aerodromes, propellers and calibrations are made once."""

import os
import tempfile
from pathlib import Path

os.environ.setdefault("OWNSHIP_CACHE", str(Path(tempfile.gettempdir()) / "ownship-test-cache"))
os.environ["OWNSHIP_DATA"] = tempfile.mkdtemp(prefix="ownship-test-data-")  # nothing of this machine's owner
os.environ.setdefault("OMP_NUM_THREADS", "1")
