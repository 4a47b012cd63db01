"""A root of the shop's own: trusted for this machine and private addresses, and for nothing else."""

import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization

from company import certificates
from company.certificates import CertificateError, certificates_ready, root_read
from company.lan import is_of_a_shop, machine_names

NAMES = ["knowngood.local", "localhost"]


def ready(folder, *, at=None, addresses=("127.0.0.1", "192.168.4.20"), names=NAMES):
    return certificates_ready(folder, company="Saltmarsh Sound", addresses=addresses, names=names, at=at or datetime.now(UTC))


def handshake(made, *, host, leaf=None, key=None):
    """Meet a server that shows a certificate, trusting the shop's root alone, as a phone does that was set up."""
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(leaf or made.leaf, key or made.key)
    asking = ssl.create_default_context(cafile=str(made.root))
    asking.verify_flags |= ssl.VERIFY_X509_STRICT
    listener = socket.create_server(("127.0.0.1", 0))

    def serve():
        try:
            with serving.wrap_socket(listener.accept()[0], server_side=True) as inside:
                inside.recv(1)
        except (OSError, ssl.SSLError):
            pass

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with (
            socket.create_connection(listener.getsockname(), timeout=5) as plain,
            asking.wrap_socket(plain, server_hostname=host) as met,
        ):
            return met.version()
    finally:
        thread.join(5)
        listener.close()


def test_a_phone_that_trusts_the_root_meets_the_shop(tmp_path):
    made = ready(tmp_path / "tls")
    assert handshake(made, host="127.0.0.1").startswith("TLS")
    assert handshake(made, host="192.168.4.20").startswith("TLS")
    assert handshake(made, host="knowngood.local").startswith("TLS")


def test_the_root_vouches_for_nothing_outside_the_shop(tmp_path, monkeypatch):
    made = ready(tmp_path / "tls")
    root = root_read(tmp_path / "tls")
    root_key = serialization.load_pem_private_key((tmp_path / "tls" / "root.key").read_bytes(), None)
    forged = tmp_path / "forged"
    forged.mkdir()
    certificates._leaf(forged, root_key=root_key, root=root, ips=[], names=["bank.example"], at=datetime.now(UTC))
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(made, host="bank.example", leaf=forged / "leaf.pem", key=forged / "leaf.key")


def test_keys_are_for_their_owner_alone(tmp_path):
    ready(tmp_path / "tls")
    for name in ("root.key", "leaf.key"):
        assert stat.S_IMODE((tmp_path / "tls" / name).stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700


def test_a_second_start_keeps_root_and_leaf(tmp_path):
    first = ready(tmp_path)
    kept = (tmp_path / "root.pem").read_bytes(), (tmp_path / "leaf.pem").read_bytes()
    again = ready(tmp_path)
    assert first.renewed and not again.renewed and first.fingerprint == again.fingerprint
    assert kept == ((tmp_path / "root.pem").read_bytes(), (tmp_path / "leaf.pem").read_bytes())


def test_another_address_renews_the_leaf_and_keeps_the_root_so_that_no_phone_is_set_up_again(tmp_path):
    first = ready(tmp_path)
    again = ready(tmp_path, addresses=("127.0.0.1", "10.1.2.3"))
    assert again.renewed and again.fingerprint == first.fingerprint
    assert handshake(again, host="10.1.2.3").startswith("TLS")


def test_the_leaf_lives_397_days_at_most_and_is_renewed_a_month_before(tmp_path):
    at = datetime.now(UTC)
    ready(tmp_path, at=at)
    leaf = x509.load_pem_x509_certificate((tmp_path / "leaf.pem").read_bytes())
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=397)
    assert not ready(tmp_path, at=at + timedelta(days=360)).renewed
    assert ready(tmp_path, at=at + timedelta(days=370)).renewed


def test_a_root_that_would_run_out_before_its_leaf_is_made_anew(tmp_path):
    at = datetime.now(UTC)
    first = ready(tmp_path, at=at)
    assert ready(tmp_path, at=at + timedelta(days=3400)).fingerprint != first.fingerprint


def test_a_damaged_file_is_made_again(tmp_path):
    ready(tmp_path)
    (tmp_path / "leaf.pem").write_text("half")
    assert ready(tmp_path).renewed
    (tmp_path / "root.pem").write_text("half")
    made = ready(tmp_path)
    assert handshake(made, host="localhost").startswith("TLS")


def test_a_public_address_is_refused_in_a_sentence(tmp_path):
    with pytest.raises(CertificateError, match=r"203\.0\.113\.9 is no address of a private network"):
        ready(tmp_path, addresses=("203.0.113.9",))


def test_a_folder_that_cannot_be_written_is_a_sentence(tmp_path):
    (tmp_path / "tls").write_text("in the way")
    with pytest.raises(CertificateError, match="cannot be kept"):
        ready(tmp_path / "tls")


def test_what_a_shop_shares_with_phones_is_a_private_address():
    assert is_of_a_shop("192.168.1.7") and is_of_a_shop("10.0.0.1") and is_of_a_shop("172.20.1.1")
    assert not is_of_a_shop("127.0.0.1") and not is_of_a_shop("8.8.8.8") and not is_of_a_shop("shop") and not is_of_a_shop("")
    assert machine_names()[0] == "knowngood.local" and "localhost" in machine_names()


def test_the_root_may_sign_nothing_that_signs(tmp_path):
    ready(tmp_path)
    root = root_read(tmp_path)
    limits = root.extensions.get_extension_for_class(x509.BasicConstraints)
    assert limits.critical and limits.value.ca and limits.value.path_length == 0
    assert root.extensions.get_extension_for_class(x509.NameConstraints).critical
    assert root.signature_hash_algorithm.name == hashes.SHA256().name
