"""The papers of the record, to print: each at /papers/NAME.pdf."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response

from ownship.questions import sheets

router = APIRouter()
PAPERS: dict[str, Callable[[str, str], bytes]] = {
    "maintenance-list": lambda aeroplane, size: sheets.maintenance_list(aeroplane or None, size=size),
    "costs": lambda aeroplane, size: sheets.years_costs(aeroplane or None, size=size),
    "amendment": lambda aeroplane, size: sheets.amendment_draft(aeroplane or None, size=size),
    "performance-card": lambda aeroplane, size: sheets.performance_paper(aeroplane or sheets.DEMO, size=size),
    "test-cards": lambda aeroplane, size: sheets.cards_to_fill(aeroplane or sheets.DEMO, size),
}


@router.get("/papers/{name}.pdf", responses={404: {"description": "No such paper."}, 422: {"description": "One sentence."}})
def paper(request: Request, name: str, aeroplane: str = "", size: str = "a4") -> Response:
    """A paper of an aeroplane of the record (of the demo where none is named and the paper is about its model)."""
    if name not in PAPERS:
        raise HTTPException(404, f"There is no such paper; there are {', '.join(PAPERS)}.")
    if aeroplane.endswith(".toml"):
        raise HTTPException(422, "An aeroplane is named by its registration here, not by a file.")
    made = PAPERS[name](aeroplane, size)
    return Response(made, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}.pdf"'})
