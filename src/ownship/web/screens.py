"""Every module of the application that answers addresses, by name; a module has its `router`."""

from __future__ import annotations

from importlib import import_module

from fastapi import FastAPI

MODULES = (
    "airframe_screens",
    "cockpit",
    "costs_screen",
    "data_screen",
    "defects_screen",
    "devices",
    "flight_papers",
    "fuel_screen",
    "handover_screen",
    "log_flight",
    "log_import",
    "log_meter",
    "log_screen",
    "maintenance_screen",
    "measurements",
    "modifications",
    "papers_screen",
    "places_field",
    "recency_screen",
    "sale_screen",
    "undo",
    "units_page",
)


def include(app: FastAPI) -> None:
    """Let the application answer all of them."""
    for name in MODULES:
        app.include_router(import_module(f"ownship.web.{name}").router)
