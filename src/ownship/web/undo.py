"""What was just kept, and the way back: an entry is withdrawn, never deleted."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from ownship.errors import OwnshipError
from ownship.web.access import Sent, form

router = APIRouter()


def back_to(path: str, number: int) -> Response:
    """The answer to a form that kept something: the page again, telling entry `number` and the way to undo it."""
    return RedirectResponse(f"{path}{'&' if '?' in path else '?'}kept={number}", status_code=303)


def just_kept(request: Request) -> dict[str, object] | None:
    """The entry the address tells of, for _kept.html; None where it tells of none that stands (undone, or corrected since)."""
    from ownship.questions.record import open_record

    asked = request.query_params.get("kept", "")
    if not (asked.isascii() and asked.isdigit() and len(asked) < 10):
        return None
    records = open_record()
    try:
        entry = records.entry(int(asked))
        stands = all(e.corrects != entry.number for e in records.all(type(entry.body)))
    except OwnshipError:
        return None
    finally:
        records.close()
    return {"number": entry.number, "kind": type(entry.body).__name__, "back": _without_kept(request)} if stands else None


def _without_kept(request: Request) -> str:
    """The page as it was asked, the aeroplane and the view with it, but for the entry it tells of."""
    here = request.url.remove_query_params("kept")
    return f"{here.path}?{here.query}" if here.query else here.path


@router.post("/undo", openapi_extra=form("entry", "back"))
def undo(request: Request, sent: Sent) -> Response:
    """Withdraw the entry that was just kept, and show the page it came from again."""
    from ownship.questions.logging_flights import withdraw

    number = sent.text("entry")
    withdraw(int(number) if number.isascii() and number.isdigit() and len(number) < 10 else 0, "undone on the screen")
    path = sent.text("back")
    return RedirectResponse(path if path.startswith("/") and not path.startswith(("//", "/\\")) else "/", status_code=303)
