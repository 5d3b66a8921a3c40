"""The page's certificate: the crew's own, or one made on the spot and known by its fingerprint."""

from __future__ import annotations

import datetime as dt
import ipaddress
import ssl
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from engine.session.engines import write_private

LASTS: Final = dt.timedelta(days=3)
"""One event, and the clocks of phones that are a day off; ours."""


def make(folder: Path, host: str) -> Path:
    """A PEM file there with a new key and a certificate for that address; its owner's alone.

    P-256 with SHA-256, as RFC 9325 recommends for TLS.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "trackwarden")])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + LASTS)
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(host))]), False
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    path = folder / "page-certificate.pem"
    write_private(path, (made.public_bytes(serialization.Encoding.PEM) + secret).decode())
    return path


def context(pem: Path) -> ssl.SSLContext:
    """TLS 1.2 or newer with the certificate and key in that file.

    Raises
    ------
    OSError
        Where it holds no certificate with its key (`ssl.SSLError` is one).
    """
    made = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    made.minimum_version = ssl.TLSVersion.TLSv1_2
    made.load_cert_chain(pem)
    return made


def fingerprint(pem: Path) -> str:
    """SHA-256 of the first certificate in that file, in pairs of digits as browsers show it."""
    made = x509.load_pem_x509_certificate(pem.read_bytes())
    return made.fingerprint(hashes.SHA256()).hex(":").upper()
