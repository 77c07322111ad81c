"""A real server and a real browser (Debian's Chromium): where it cannot be had the tests fail, they are not skipped.

Screenshots of every test lie in build/screens for looking at.
"""

import os
import re
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import httpx

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync")
ROOT = Path(__file__).resolve().parents[2]
SHOTS = ROOT / "build" / "screens"
AXE = ROOT / "src/ownship/web/frontend/node_modules/axe-core/axe.min.js"
WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 320, "height": 720}


class Server:
    """The application in a process of its own, over a data folder; it may be stopped and started again on its port."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        """Start, and wait until it answers."""
        self.process = subprocess.Popen([str(Path(sys.executable).with_name("ownship")), "serve", "--port", str(self.port)],
                                        env=os.environ | {"OWNSHIP_DATA": str(self.folder)}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(300):
            try:
                httpx.get(f"{self.url}/static/style.css", timeout=1.0)
                return
            except httpx.HTTPError:
                assert self.process.poll() is None, "the server stopped at its start"
                time.sleep(0.1)
        raise AssertionError("the server does not answer")

    def stop(self) -> None:
        """Stop at once, as a machine that loses its power."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None


@contextmanager
def opened(browser, **options):
    """A page of a new profile with the errors its scripts raise: `with opened(browser, viewport=PHONE) as (page, wrong):`."""
    context = browser.new_context(**({"viewport": WIDE} | options))
    context.set_default_timeout(20_000)
    found = context.new_page()
    wrong: list[str] = []
    found.on("pageerror", lambda error: wrong.append(str(error)))
    found.on("console", lambda said: wrong.append(said.text) if said.type == "error" and "Failed to load resource" not in said.text else None)
    try:
        yield found, wrong
    finally:
        context.close()


def shot(page, name: str) -> None:
    """Keep a look at the page under build/screens."""
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{re.sub(r'[^A-Za-z0-9_-]+', '-', name)[:120]}.png", full_page=True)


def violations(page) -> list[str]:
    """What axe-core finds against WCAG 2.2 A and AA, each with the element it is about."""
    page.evaluate(AXE.read_text())
    found = page.evaluate("axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})")
    return [f"{v['id']}: {n['target']} {n.get('failureSummary', '')[:200]}" for v in found["violations"] for n in v["nodes"]]


def sideways(page) -> int:
    """How many pixels the page as a whole scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
