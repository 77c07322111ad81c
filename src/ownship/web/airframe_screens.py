"""The Airframe screen's pages as one router; what has a name of its own comes before a registration."""

from __future__ import annotations

from fastapi import APIRouter

from ownship.web import airframe, airframe_measured, airframe_new, ledger_screen, own_aerodromes_screen

router = APIRouter()
for _screen in (airframe_new, own_aerodromes_screen, ledger_screen, airframe_measured, airframe):
    router.include_router(_screen.router)
