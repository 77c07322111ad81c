"""Which other devices may ask: each paired once by a code that is shown on this machine, and forgotten by a word here.

A code holds once and for ten minutes; wrong ones are slowed, five in all and it is void. A paired device carries a signed
cookie; the signature's secret, and the list of devices, lie in the owner's data folder, readable by the owner alone.
"""

from __future__ import annotations

import hmac
import json
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from itsdangerous import BadSignature, Signer

from ownship.errors import BadInput

COOKIE = "ownship-device"
GOOD_FOR, TRIES = timedelta(minutes=10), 5
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that are taken for one another
NOT_TAKEN = "This code is not taken: it is wrong, was used, or is older than ten minutes. Ask for a new one on the machine itself."


@dataclass(frozen=True)
class Device:
    """A device that was paired."""

    id: str
    name: str
    since: str


@dataclass
class Pairing:
    """The codes and devices of one running server. folder: where they are kept; now: the clock."""

    folder: Path
    now: Callable[[], datetime]
    _code: str = ""
    _until: datetime | None = None
    _wrong: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def code(self) -> str:
        """A new code, in two groups of four; the one before no longer holds."""
        with self._lock:
            self._code = "".join(secrets.choice(LETTERS) for _ in range(8))
            self._until, self._wrong = self.now() + GOOD_FOR, 0
            return f"{self._code[:4]}-{self._code[4:]}"

    def pair(self, code: str, name: str) -> str:
        """The cookie of a device whose code is right; BadInput otherwise, and the code is void after five wrong ones."""
        given = code.upper().replace("-", "").replace(" ", "")
        with self._lock:
            holds = bool(self._code) and self._until is not None and self.now() <= self._until
            if not holds or not hmac.compare_digest(given.encode(), self._code.encode()):
                self._wrong += 1
                if self._wrong >= TRIES:
                    self._code = ""
                raise BadInput(NOT_TAKEN)
            self._code = ""
            device = Device(secrets.token_hex(16), " ".join(name.split())[:60] or "a device", f"{self.now():%Y-%m-%d %H:%M} UTC")
            self._keep([*self.devices(), device])
            return self._signer().sign(device.id).decode()

    @property
    def slow_s(self) -> float:
        """How long the next answer to a code waits: doubling from a quarter of a second with each wrong one."""
        return min(0.25 * 2 ** self._wrong, 8.0) if self._wrong else 0.0

    def device(self, cookie: str) -> Device | None:
        """The paired device of a cookie; None where it is forged or was forgotten."""
        try:
            found = self._signer().unsign(cookie.encode()).decode()
        except (BadSignature, UnicodeError):
            return None
        return next((d for d in self.devices() if d.id == found), None)

    def devices(self) -> list[Device]:
        """Every paired device, the first first."""
        path = self.folder / "devices.json"
        return [Device(**d) for d in json.loads(path.read_text())] if path.exists() else []

    def forget(self, device_id: str) -> None:
        """A device is no longer answered."""
        with self._lock:
            self._keep([d for d in self.devices() if d.id != device_id])

    def _keep(self, devices: list[Device]) -> None:
        from ownship.web.certificates import keep_private

        keep_private(self.folder / "devices.json", json.dumps([vars(d) for d in devices]).encode())

    def _signer(self) -> Signer:
        from ownship.web.certificates import keep_private

        path = self.folder / "secret"
        if not path.exists():
            keep_private(path, secrets.token_bytes(32))
        return Signer(path.read_bytes(), salt="ownship device")
