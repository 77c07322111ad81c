"""Another device is answered only over TLS and only once paired; the authority is good for private names alone."""

from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.x509 import DNSName, IPAddress
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from fastapi.testclient import TestClient

from ownship.errors import BadInput
from ownship.web import access, certificates
from ownship.web.app import create_app
from ownship.web.pairing import COOKIE, TRIES, Pairing

NOW = datetime(2026, 7, 4, 12, tzinfo=UTC)
TABLET, HERE = ("192.168.1.9", 5000), ("127.0.0.1", 5000)


class Clock:
    now = NOW

    def __call__(self):
        return self.now


@pytest.fixture
def pairing(tmp_path):
    return Pairing(tmp_path / "access", Clock())


def client(pairing, who):
    app = create_app(access.Access((*access.LOOPBACK, "192.168.1.5"), pairing))
    return TestClient(app, base_url="https://192.168.1.5:8160", client=who, follow_redirects=False)


def pair(device, code, name="tablet"):
    device.get("/pair")
    return device.post("/pair", data={"token": device.cookies[access.COOKIE], "code": code, "name": name})


@pytest.mark.parametrize("path", ["/", "/flight.json", "/openapi.json", "/devices", "/nowhere"])
def test_a_device_not_paired_is_sent_to_pair(pairing, path):
    answer = client(pairing, TABLET).get(path)
    assert answer.status_code == 303 and answer.headers["location"] == "/pair"


def test_a_device_that_is_paired_is_answered_until_it_is_forgotten(pairing):
    tablet = client(pairing, TABLET)
    answer = pair(tablet, pairing.code())
    cookie = next(c for c in answer.headers.get_list("set-cookie") if c.startswith(COOKIE))
    assert answer.status_code == 303 and all(x in cookie.lower() for x in ("httponly", "secure", "samesite=strict"))
    assert tablet.get("/").status_code == 200
    pairing.forget(pairing.devices()[0].id)
    assert tablet.get("/").status_code == 303


def test_a_code_holds_once_and_for_ten_minutes(pairing):
    code = pairing.code()
    pairing.pair(code.lower().replace("-", " "), "a")
    with pytest.raises(BadInput, match="was used"):
        pairing.pair(code, "b")
    code = pairing.code()
    pairing.now.now = NOW + timedelta(minutes=10, seconds=1)
    with pytest.raises(BadInput, match="ten minutes"):
        pairing.pair(code, "b")


def test_wrong_codes_wait_longer_each_time_and_void_the_code(pairing):
    code, waits = pairing.code(), []
    for _ in range(TRIES):
        with pytest.raises(BadInput):
            pairing.pair("AAAA-AAAA", "x")
        waits.append(pairing.slow_s)
    assert waits == sorted(waits) and waits[0] > 0 and len(set(waits)) == TRIES
    with pytest.raises(BadInput):
        pairing.pair(code, "x")


@pytest.mark.parametrize("code", ["", "é", "-", "A" * 5000])
def test_no_code_is_no_code(pairing, code):
    with pytest.raises(BadInput):
        pairing.pair(code, "x")


@pytest.mark.parametrize("cookie", ["", "x", "a.b", "0" * 32, "é"])
def test_a_forged_cookie_is_nobody(pairing, cookie):
    pairing.pair(pairing.code(), "tablet")
    assert pairing.device(cookie) is None and pairing.device(pairing.devices()[0].id) is None


def test_codes_are_shown_on_this_machine_only(pairing):
    tablet, here = client(pairing, TABLET), client(pairing, HERE)
    pair(tablet, pairing.code())
    assert tablet.get("/devices").status_code == 403
    here.get("/devices")
    page = here.post("/devices", data={"token": here.cookies[access.COOKIE]}).text
    assert "https://192.168.1.5:8160/pair?code=" in page and "data:image/png" in page


def test_a_foreign_name_is_refused_paired_or_not(pairing):
    assert client(pairing, HERE).get("/", headers={"host": "rebound.example:8160"}).status_code == 400


def test_without_pairing_there_is_nothing_to_pair():
    alone = TestClient(create_app(), base_url="http://127.0.0.1")
    assert alone.get("/pair").status_code == 404 and "--lan" in alone.get("/pair").text


def verified(by, chain, name):
    leaf = x509.load_pem_x509_certificates(chain)[0]
    found = PolicyBuilder().store(Store([by.certificate])).time(NOW).build_server_verifier(name).verify(leaf, [])
    return len(found)


def test_the_authority_vouches_for_private_names_alone(tmp_path):
    """RFC 5280, 4.2.1.10, as a library's verifier reads it."""
    import ipaddress

    by = certificates.authority(tmp_path, NOW, "hangar")
    home, foreign = ("192.168.1.5", "hangar.local"), ("example.org",)
    for name in (IPAddress(ipaddress.ip_address("192.168.1.5")), DNSName("hangar.local")):
        assert verified(by, certificates.issue(by, home, NOW)[0], name) == 2
    with pytest.raises(VerificationError):
        verified(by, certificates.issue(by, foreign, NOW)[0], DNSName("example.org"))


def test_the_authority_is_kept_and_its_key_is_the_owners_alone(tmp_path):
    by = certificates.authority(tmp_path / "access", NOW, "hangar")
    assert certificates.authority(tmp_path / "access", NOW, "hangar").fingerprint == by.fingerprint
    assert (tmp_path / "access" / "authority-key.pem").stat().st_mode & 0o077 == 0
    late = NOW + timedelta(days=certificates.AUTHORITY_DAYS - 5)
    assert certificates.authority(tmp_path / "access", late, "hangar").fingerprint != by.fingerprint
