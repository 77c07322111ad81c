"""The record of one aeroplane for who buys it, without other people's data, as one file to take away."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime
from pathlib import Path

from ownship.errors import BadInput
from ownship.questions.maintaining import opened, registration

SAME_DATE = (1980, 1, 1, 0, 0, 0)  # of the files within: same entries, same bytes but for the manifest's moment


def buyers_file(aeroplane: str, folder: Path | None = None) -> tuple[str, bytes]:
    """(name, bytes) of a zip: what `costs sheet --export` writes; BadInput where nothing of the aeroplane is kept."""
    from ownship.ownership.sale import without_others
    from ownship.store.exchange import exported

    which, now = registration(aeroplane), datetime.now(UTC)
    with opened(folder) as records:
        every, all_of_it = records.all(aeroplane=which), records.all()
    if not every:
        raise BadInput(f"The record holds nothing of {which}, so there is nothing to hand over; keep its record first.")
    files, out = exported(without_others(every, all_of_it), now), io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            archive.writestr(zipfile.ZipInfo(name, SAME_DATE), files[name], zipfile.ZIP_DEFLATED)
    return f"{which}-for-the-buyer-{now:%Y-%m-%d}.zip", out.getvalue()
