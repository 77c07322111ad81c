"""Who may ask, and what an answer may load: this machine and paired devices, no foreign page's form, nothing from elsewhere."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile

from ownship.web.pairing import COOKIE as DEVICE
from ownship.web.pairing import Pairing

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
OPEN = ("/pair", "/authority.crt", "/static/")  # what a device may see before it is paired
POLICY = ("default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; "
          "worker-src 'self'; manifest-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
LONGEST_QUERY = 20_000
LARGEST_UPLOAD_BYTES = 20_000_000
COOKIE, FIELD, HEADER = "ownship-token", "token", "x-ownship-token"
CHANGING = ("POST", "PUT", "PATCH", "DELETE")
Next = Callable[[Request], Awaitable[Response]]


@dataclass(frozen=True)
class Posted:
    """What a form sent, its token found right: plain fields, and files by field name."""

    fields: dict[str, str]
    files: dict[str, UploadFile]

    def text(self, name: str) -> str:
        """A field without white space around it; "" where it is absent."""
        return self.fields.get(name, "").strip()


@dataclass(frozen=True)
class Access:
    """By which names this server may be asked, and which other devices are paired; none: this machine alone."""

    hosts: tuple[str, ...] = LOOPBACK
    pairing: Pairing | None = None

    def here(self, request: Request) -> bool:
        """Whether the asking comes from this machine itself."""
        return self.pairing is None or (request.client is not None and request.client.host in ("127.0.0.1", "::1"))

    def knows(self, request: Request) -> bool:
        """Whether this machine or a paired device asks."""
        return self.here(request) or (self.pairing is not None and self.pairing.device(request.cookies.get(DEVICE, "")) is not None)


async def guard(access: Access, request: Request, call_next: Next) -> Response:
    """Refuse a foreign host, a device not paired, an address too long, an upload too large, a change asked for by another page;
    then answer."""
    refusal = _refused(access, request)
    if refusal is None and not request.url.path.startswith(OPEN) and not access.knows(request):
        response: Response = RedirectResponse("/pair", status_code=303)
    else:
        response = PlainTextResponse(refusal[1], status_code=refusal[0]) if refusal else await call_next(request)
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    return response


def _refused(access: Access, request: Request) -> tuple[int, str] | None:
    host = request.headers.get("host", "")
    if host.removesuffix(f":{request.url.port}").lower() not in access.hosts:
        return 400, "This page answers to its own names only: " + ", ".join(access.hosts) + "."
    if len(request.url.query) > LONGEST_QUERY:
        return 414, "The request in the address is too long."
    if request.method not in CHANGING:
        return None
    origin = request.headers.get("origin")
    if origin is not None and origin != f"{request.url.scheme}://{host}":
        return 403, "A change is taken from Ownship's own pages only."
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return 403, "A change is taken from Ownship's own pages only."
    length = request.headers.get("content-length", "")
    if not length.isdigit() or "transfer-encoding" in request.headers:  # sent in chunks, it may be longer than it says
        return 411, "The size of what is sent is not said; send it with its length."
    if int(length) > LARGEST_UPLOAD_BYTES:
        return 413, f"What is sent has {int(length):,} bytes; at most {LARGEST_UPLOAD_BYTES:,} are taken."
    return None


def token_of(request: Request) -> str:
    """The token of this browser: that of its cookie, or a new one (then `keep_token` hands it out)."""
    kept: str | None = request.cookies.get(COOKIE)
    if kept and len(kept) == 43:
        return kept
    if not hasattr(request.state, "token"):
        request.state.token = secrets.token_urlsafe(32)
    return str(request.state.token)


def keep_token(request: Request, response: Response) -> None:
    """Hand the browser its token, out of reach of scripts and of other sites."""
    if request.cookies.get(COOKIE) != token_of(request):
        response.set_cookie(COOKIE, token_of(request), httponly=True, samesite="strict", secure=request.url.scheme == "https")


async def posted(request: Request) -> AsyncIterator[Posted]:
    """Dependency of every handler that changes anything: the form, its token compared with the browser's (double submit).

    Its files are closed once the handler is done.
    """
    kept = request.cookies.get(COOKIE, "")
    form = await request.form()
    try:
        given = request.headers.get(HEADER) or str(form.get(FIELD, ""))
        if not kept or not hmac.compare_digest(kept.encode(), given.encode()):
            raise HTTPException(403, "This form is not from this browser's page, or its page is too old; load the page again and "
                                     "send it once more.")
        fields = {k: v for k, v in form.items() if isinstance(v, str) and k != FIELD}
        yield Posted(fields, {k: v for k, v in form.items() if isinstance(v, UploadFile) and v.filename})
    finally:
        await form.close()


Sent = Annotated[Posted, Depends(posted)]  # the parameter of such a handler


def form(*names: str, file: str = "") -> dict[str, Any]:
    """What a POST handler takes, for OpenAPI (`openapi_extra`): text fields by name, and a file where it takes one."""
    fields: dict[str, Any] = {n: {"type": "string"} for n in names}
    if file:
        fields[file] = {"type": "string", "format": "binary"}
    kind = "multipart/form-data" if file else "application/x-www-form-urlencoded"
    return {"requestBody": {"required": True, "content": {kind: {"schema": {"type": "object", "properties": fields}}}}}
