"""Fixtures of the tests in a browser."""

from pathlib import Path

import pytest
from browsing import ARGUMENTS, CHROMIUM, Server, opened, shot
from playwright.sync_api import sync_playwright


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """A server over an empty data folder, for the tests of one module."""
    running = Server(tmp_path_factory.mktemp("data"))
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def browser():
    """Debian's Chromium, once a run."""
    assert Path(CHROMIUM).exists(), "Debian's chromium is missing; `make test` installs it (apt-get install chromium)."
    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield running
        running.close()


@pytest.fixture
def page(browser, request):
    """A page of a new browser profile; what goes wrong in its scripts fails the test, and its last look is kept."""
    with opened(browser) as (found, wrong):
        yield found
        shot(found, request.node.name)
        assert not wrong, wrong
