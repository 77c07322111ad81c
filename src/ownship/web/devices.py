"""Pairing a tablet with this machine: the code and its picture here, the form there; devices listed and forgotten here."""

from __future__ import annotations

import time

import segno
from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response

from ownship.errors import BadInput
from ownship.web import pages
from ownship.web.access import Access, Sent
from ownship.web.pairing import COOKIE, Pairing

router = APIRouter()


def _pairing(request: Request, here: bool = False) -> Pairing:
    access: Access = request.app.state.access
    if access.pairing is None:
        raise HTTPException(404, "This server answers this machine alone; `ownship serve --lan` answers paired devices too.")
    if here and not access.here(request):
        raise HTTPException(403, "This is told on the machine itself only.")
    return access.pairing


@router.get("/pair", include_in_schema=False)
def ask_code(request: Request, code: str = "") -> Response:
    """On the device: the code, filled in where the picture brought it."""
    _pairing(request)
    return pages.page(request, "pair.html", code=code[:12], refusal="")


@router.post("/pair", include_in_schema=False)
def pair(request: Request, sent: Sent) -> Response:
    """Pair the device whose code is right; a wrong one waits longer each time."""
    pairing = _pairing(request)
    time.sleep(pairing.slow_s)
    try:
        cookie = pairing.pair(sent.text("code"), sent.text("name"))
    except BadInput as error:
        return pages.page(request, "pair.html", 422, code="", refusal=str(error))
    response = RedirectResponse("/", status_code=303)
    response.set_cookie(COOKIE, cookie, max_age=pages.YEAR_S, httponly=True, secure=True, samesite="strict")
    return response


@router.get("/authority.crt", include_in_schema=False)
def authority(request: Request) -> Response:
    """The certificate that a device is to trust, for this network's own names only."""
    pairing = _pairing(request)
    found = (pairing.folder / "authority.pem").read_bytes()
    return PlainTextResponse(found, media_type="application/x-x509-ca-cert",
                             headers={"Content-Disposition": 'attachment; filename="ownship-authority.crt"'})


@router.get("/devices", include_in_schema=False)
def devices(request: Request) -> Response:
    """On this machine: a new code with its picture, and the devices that are paired."""
    return _shown(request, "")


@router.post("/devices", include_in_schema=False)
def change(request: Request, sent: Sent) -> Response:
    """Make a new code, or forget a device."""
    pairing = _pairing(request, here=True)
    if sent.text("forget"):
        pairing.forget(sent.text("forget"))
        return RedirectResponse("/devices", status_code=303)
    return _shown(request, pairing.code())


def _shown(request: Request, code: str) -> Response:
    pairing = _pairing(request, here=True)
    names = [h for h in request.app.state.access.hosts if h not in ("localhost", "127.0.0.1", "[::1]")]
    where = f"https://{names[0]}:{request.url.port}/pair?code={code}" if names else ""
    picture = segno.make(where, error="m").png_data_uri(scale=6) if code and where else ""
    return pages.page(request, "devices.html", code=code, where=where, picture=picture, devices=pairing.devices())
