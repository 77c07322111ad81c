"""Your data: a backup to take away, one put back (looked at, then asked twice), the whole as plain files, and how it all stands."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.questions import data_files, keeping, uploads
from ownship.web.access import Sent, form
from ownship.web.log_forms import Refusal, file_of, gone_to, in_words, shown, whole_of

router = APIRouter()
ZIP = "application/zip"


@router.get("/data.json")
def data_json() -> JSONResponse:
    """How the record stands (docs/formats/record.md), as data."""
    return JSONResponse(keeping.doctor().to_json())


@router.get("/data")
def data(request: Request, restored: str = "") -> Response:
    """The same as a page, with the ways to take the record away and to bring it back."""
    return _page(request, Refusal())


def _page(request: Request, refusal: Refusal) -> Response:
    restored = whole_of(request.query_params.get("restored", ""), 0)
    return shown(request, "data.html", 422 if refusal.words else 200, health=keeping.doctor(), refusal=refusal, restored=restored,
                 seen=None)


@router.get("/data/backup.zip")
def backup() -> Response:
    """A backup of the record as it is at this moment, with the hash it is checked by."""
    return _file(*data_files.backup_file())


@router.get("/data/export.zip")
def export() -> Response:
    """Every entry as plain CSV files with a manifest, in one zip."""
    return _file(*data_files.export_file())


def _file(name: str, content: bytes) -> Response:
    return Response(content, media_type=ZIP, headers={"Content-Disposition": f'attachment; filename="{name}"',
                                                      "Cache-Control": "no-store"})


@router.post("/data/restore", openapi_extra=form(file="backup"))
def send(request: Request, sent: Sent) -> Response:
    """Check a backup that was sent and put it aside; nothing is replaced yet."""
    try:
        name, content = file_of(sent, "backup", "a backup of Ownship")
        data_files.backup_seen(content, name)
    except OwnshipError as error:
        return _page(request, Refusal(in_words(str(error)), "restore"))
    return gone_to("/data/restore", file=uploads.put_aside(content), name=name)


@router.get("/data/restore")
def look(request: Request, file: str = "", name: str = "") -> Response:
    """What a backup holds beside the record, and the question whether it is to take its place."""
    return _look(request, file, name, Refusal())


def _look(request: Request, file: str, name: str, refusal: Refusal) -> Response:
    called = uploads.file_name(name, "the backup")
    try:
        seen = data_files.backup_seen(uploads.put_back(file), called)
    except OwnshipError as error:
        return _page(request, Refusal(in_words(str(error)), "restore"))
    return shown(request, "data_restore.html", 422 if refusal.words else 200, seen=seen, file=file, name=called, refusal=refusal)


@router.post("/data/restore/now", openapi_extra=form("file", "name", "sure"))
def restore(request: Request, sent: Sent) -> Response:
    """Put the backup in place of the record, where the box is ticked; what was there is kept beside it."""
    name = uploads.file_name(sent.text("name"), "the backup")
    try:
        if not sent.text("sure"):
            raise BadInput("Nothing was replaced: tick the box that says the backup is to take the record's place, and "
                           "send it again.")
        told = keeping.restore_data(uploads.put_back(sent.text("file")), name)
    except OwnshipError as error:
        return _look(request, sent.text("file"), name, Refusal(in_words(str(error)), "sure", "sure"))
    return gone_to("/data", restored=str(told.entries))
