"""The certificate made on the spot."""

from __future__ import annotations

import hashlib
import socket
import ssl
import stat
import threading
from pathlib import Path

import pytest

from app.page import certificate


def test_a_client_that_knows_it_connects_to_that_address(tmp_path: Path) -> None:
    """Python's own TLS accepts it for the address that it names, and for no other."""
    pem = certificate.make(tmp_path, "127.0.0.1")
    server, client = certificate.context(pem), ssl.create_default_context(cafile=str(pem))
    listener = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        for _ in range(2):
            plain, _ = listener.accept()
            try:
                server.wrap_socket(plain, server_side=True).close()
            except OSError:
                plain.close()

    thread = threading.Thread(target=answer)
    thread.start()
    with (
        socket.create_connection(listener.getsockname()) as plain,
        client.wrap_socket(plain, server_hostname="127.0.0.1") as secret,
    ):
        assert secret.version() in ("TLSv1.2", "TLSv1.3")
        der = secret.getpeercert(binary_form=True)
    with (
        socket.create_connection(listener.getsockname()) as plain,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        client.wrap_socket(plain, server_hostname="127.0.0.2")
    thread.join()
    listener.close()
    assert der is not None
    digest = hashlib.sha256(der).hexdigest().upper()
    assert certificate.fingerprint(pem).replace(":", "") == digest


def test_its_key_is_its_owners_alone(tmp_path: Path) -> None:
    """Nobody else on the machine may read the file."""
    pem = certificate.make(tmp_path, "fd00::5")
    assert stat.S_IMODE(pem.stat().st_mode) == 0o600


def test_a_file_without_a_key_is_refused(tmp_path: Path) -> None:
    """It says so as an OSError."""
    path = tmp_path / "own.pem"
    path.write_text("nothing", encoding="utf-8")
    with pytest.raises(OSError, match=r"\S"):
        certificate.context(path)
