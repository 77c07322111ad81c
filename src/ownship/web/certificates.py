"""A certificate authority of this one machine: made on first use, and good for the owner's own network only.

Source: RFC 5280 (certificates, name constraints), RFC 1918, 4193 and 3927 (private addresses), RFC 6762 (.local). A tablet
that trusts this authority trusts it for those names alone, whatever becomes of its key.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128")
AUTHORITY_DAYS, SERVER_DAYS = 3650, 365
EARLY = timedelta(days=1)  # a tablet's clock may be behind
Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True)
class Authority:
    """The machine's own authority: certificate and key."""

    certificate: x509.Certificate
    key: Key

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, in pairs, as devices show it."""
        found = self.certificate.fingerprint(hashes.SHA256()).hex().upper()
        return ":".join(found[i:i + 2] for i in range(0, len(found), 2))

    @property
    def pem(self) -> bytes:
        """The certificate as a device takes it."""
        return self.certificate.public_bytes(serialization.Encoding.PEM)


def authority(folder: Path, now: datetime, machine: str) -> Authority:
    """The authority kept in a folder; made there where there is none, or where its time is up within a month."""
    cert, key = folder / "authority.pem", folder / "authority-key.pem"
    if cert.exists() and key.exists():
        kept = Authority(x509.load_pem_x509_certificate(cert.read_bytes()), _load(key))
        if kept.certificate.not_valid_after_utc - now > timedelta(days=31):
            return kept
    made = _made(now, machine)
    keep_private(key, _key_pem(made.key))
    keep_private(cert, made.pem)
    return made


def issue(by: Authority, names: tuple[str, ...], now: datetime) -> tuple[bytes, bytes]:
    """(certificate chain, key) as PEM for a server of these names and addresses; both new every time."""
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = (
        _builder(names[0], by.certificate.subject, key, now, SERVER_DAYS)
        .add_extension(x509.SubjectAlternativeName([_general(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(by.key.public_key()), critical=False)
        .sign(by.key, hashes.SHA256()))
    return certificate.public_bytes(serialization.Encoding.PEM) + by.pem, _key_pem(key)


def _made(now: datetime, machine: str) -> Authority:
    key = ec.generate_private_key(ec.SECP256R1())
    name = f"Ownship on {machine}"[:64]
    permitted: list[x509.GeneralName] = [x509.DNSName("local"), x509.DNSName("localhost"), x509.DNSName(machine)]
    permitted += [x509.IPAddress(ipaddress.ip_network(n)) for n in PRIVATE]
    certificate = (
        _builder(name, _named(name), key, now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .add_extension(x509.KeyUsage(digital_signature=False, content_commitment=False, key_encipherment=False,
                                     data_encipherment=False, key_agreement=False, key_cert_sign=True, crl_sign=True,
                                     encipher_only=False, decipher_only=False), critical=True)
        .sign(key, hashes.SHA256()))
    return Authority(certificate, key)


def _builder(name: str, issuer: x509.Name, key: Key, now: datetime, days: int) -> x509.CertificateBuilder:
    at = now.astimezone(UTC)
    return (x509.CertificateBuilder().subject_name(_named(name)).issuer_name(issuer).public_key(key.public_key())
            .serial_number(x509.random_serial_number()).not_valid_before(at - EARLY).not_valid_after(at + timedelta(days=days))
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False))


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name[:64])])


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name.strip("[]")))
    except ValueError:
        return x509.DNSName(name)


def _load(path: Path) -> Key:
    found = serialization.load_pem_private_key(path.read_bytes(), None)
    assert isinstance(found, ec.EllipticCurvePrivateKey)
    return found


def _key_pem(key: Key) -> bytes:
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())


def keep_private(path: Path, content: bytes) -> None:
    """Write a file that the owner alone may read, whole or not at all; its folder is made where there is none."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    beside = path.with_name(path.name + ".new")
    beside.unlink(missing_ok=True)
    beside.touch(mode=0o600)
    beside.write_bytes(content)
    beside.replace(path)
