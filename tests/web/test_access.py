"""A change is taken only from this browser's own page; nothing foreign, nothing too large, is read at all."""

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from ownship.web import access
from ownship.web.app import create_app


@pytest.fixture
def client():
    app = create_app()

    @app.post("/kept")
    async def kept(sent: access.Sent):
        return sent.fields

    return TestClient(app, base_url="http://127.0.0.1", follow_redirects=False)


def token(client):
    client.get("/nowhere")
    return client.cookies[access.COOKIE]


def test_a_form_of_this_browsers_page_is_taken_without_its_token(client):
    assert client.post("/kept", data={"token": token(client), "a": "1"}).json() == {"a": "1"}


@pytest.mark.parametrize("given", ["", "x" * 43, "\u00e9"])
def test_a_form_with_another_token_is_refused(client, given):
    token(client)
    assert client.post("/kept", data={"token": given}).status_code == 403


def test_a_form_without_a_cookie_is_refused(client):
    assert client.post("/kept", data={"token": ""}).status_code == 403


@pytest.mark.parametrize("headers", [{"origin": "http://example.org"}, {"origin": "null"}, {"origin": "https://127.0.0.1"},
                                     {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}])
def test_a_form_of_another_page_is_refused(client, headers):
    assert client.post("/kept", data={"token": token(client)}, headers=headers).status_code == 403


def test_what_is_too_large_or_of_no_said_size_is_not_read(client):
    sent = {access.HEADER: token(client)}
    assert client.post("/kept", headers={**sent, "content-length": str(access.LARGEST_UPLOAD_BYTES + 1)}, content=b"").status_code == 413
    assert client.post("/kept", headers=sent, content=iter([b"a=1"])).status_code == 411


def test_every_handler_that_changes_anything_asks_for_the_token():
    routes = [r for r in create_app().routes if isinstance(r, APIRoute) and r.methods & set(access.CHANGING)]
    for route in routes:
        assert access.posted in [d.call for d in route.dependant.dependencies], route.path
