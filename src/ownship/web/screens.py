"""Every module of the application that answers addresses, by name; a module has its `router`."""

from __future__ import annotations

from importlib import import_module

from fastapi import FastAPI

MODULES = (
    "airframe_screens",
    "cockpit",
    "devices",
    "flight_papers",
    "papers_screen",
    "places_field",
    "undo",
    "units_page",
)


def include(app: FastAPI) -> None:
    """Let the application answer all of them."""
    for name in MODULES:
        app.include_router(import_module(f"ownship.web.{name}").router)
