"""The shop's certificates: who trusts the authority gets to this machine under its own names, and no further."""

import datetime
import ipaddress
import socket
import ssl
import stat
import threading

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization

from proofpatch import InputError
from proofpatch.shop.certificate import (
    AUTHORITY,
    SERVER_DAYS,
    SIGNER_KEY,
    Machine,
    _serve,
    certificate_of,
    this_machine,
)

BARN = Machine(("localhost", "barn", "barn.local"), tuple(map(ipaddress.ip_address, ("127.0.0.1", "192.168.7.20"))))
NOW = datetime.datetime.now(datetime.UTC)


def asked(certificate, name, trusts=None):
    """What a client that trusts the authority says of a server that shows this certificate under a name."""
    ours, theirs = socket.socketpair()
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate.chain, certificate.key)

    def answer():
        with ours:
            try:
                with server.wrap_socket(ours, server_side=True) as held:
                    held.sendall(b"hello")
            except OSError:
                return

    thread = threading.Thread(target=answer)
    thread.start()
    client = ssl.create_default_context(cafile=trusts or certificate.folder / AUTHORITY)
    client.verify_flags |= ssl.VERIFY_X509_STRICT
    try:
        with theirs, client.wrap_socket(theirs, server_hostname=name) as held:
            return held.recv(5).decode()
    except ssl.SSLCertVerificationError as refused:
        return refused.verify_message
    finally:
        thread.join(10)


def test_it_is_trusted_under_every_name_of_the_machine_and_under_no_other(tmp_path):
    found = certificate_of(tmp_path, BARN)
    for name in (*BARN.names, "127.0.0.1", "192.168.7.20"):
        assert asked(found, name) == "hello", name
    for name in ("shop.example", "192.168.7.21"):
        assert "mismatch" in asked(found, name), name
    assert certificate_of(tmp_path, BARN).fingerprint == found.fingerprint  # made once
    stranger = tmp_path / "stranger"
    stranger.mkdir()
    assert "unable to get local issuer" in asked(found, "barn", certificate_of(stranger, BARN).folder / AUTHORITY)


# Whoever steals the signer's key can make such a certificate; no device that checks takes it.
@pytest.mark.parametrize("name", ["shop.example", "other.local", "93.184.216.34", "2606:2800::1"])
def test_what_is_signed_for_another_site_is_refused(tmp_path, name):
    found = certificate_of(tmp_path, BARN)
    signer = x509.load_pem_x509_certificates(found.chain.read_bytes())[1]
    try:
        stolen = Machine((), (ipaddress.ip_address(name),))
    except ValueError:
        stolen = Machine((name,), ())
    _serve(found.folder, signer, stolen, NOW)
    assert "permitted subtree violation" in asked(found, name)


def test_the_bound_is_critical_on_both_and_the_authority_can_sign_no_more(tmp_path):
    found = certificate_of(tmp_path, BARN)
    chain = [found.authority, x509.load_pem_x509_certificates(found.chain.read_bytes())[1]]
    for number, one in enumerate(chain):
        bound = one.extensions.get_extension_for_class(x509.NameConstraints)
        assert bound.critical
        assert [name.value for name in bound.value.permitted_subtrees][:3] == list(BARN.names)
        assert one.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 1 - number
    keys = [
        serialization.load_pem_private_key(path.read_bytes(), None).public_key()
        for path in found.folder.iterdir()
        if path.suffix == ".key"
    ]
    assert len(keys) == 2
    assert found.authority.public_key() not in keys  # it was never written
    for path in found.folder.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(found.folder.stat().st_mode) == 0o700


def test_it_is_made_once_and_the_servers_part_is_renewed_when_it_has_to_be(tmp_path):
    first = certificate_of(tmp_path, BARN, NOW)
    shown = first.chain.read_bytes()
    assert first.ends - NOW <= datetime.timedelta(days=SERVER_DAYS)
    assert certificate_of(tmp_path, BARN, NOW + datetime.timedelta(days=300)).chain.read_bytes() == shown
    late = certificate_of(tmp_path, BARN, NOW + datetime.timedelta(days=370))
    assert late.chain.read_bytes() != shown
    assert late.ends - first.ends > datetime.timedelta(days=360)
    moved = Machine(BARN.names, tuple(map(ipaddress.ip_address, ("127.0.0.1", "10.0.0.5"))))
    assert asked(certificate_of(tmp_path, moved, NOW), "10.0.0.5") == "hello"
    assert certificate_of(tmp_path, moved, NOW).fingerprint == first.fingerprint
    with pytest.raises(InputError, match="near its end"):
        certificate_of(tmp_path, BARN, NOW + datetime.timedelta(days=3640))


def test_what_the_authority_does_not_cover_is_left_out_and_said(tmp_path):
    certificate_of(tmp_path, BARN)
    away = Machine(("localhost", "loft"), tuple(map(ipaddress.ip_address, ("192.168.7.20", "93.184.216.34"))))
    found = certificate_of(tmp_path, away)
    assert found.left_out == ("loft", "93.184.216.34")
    assert asked(found, "192.168.7.20") == "hello"


def test_a_folder_that_holds_something_else_gets_a_sentence(tmp_path):
    certificate_of(tmp_path, BARN)
    (tmp_path / "tls" / AUTHORITY).write_text("no certificate", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be read"):
        certificate_of(tmp_path, BARN)
    (tmp_path / "tls" / SIGNER_KEY).unlink()
    assert asked(certificate_of(tmp_path, BARN), "barn") == "hello"  # begun anew where nothing was finished


def test_this_machine_is_called_something():
    found = this_machine()
    assert found.names[0] == "localhost"
    assert ipaddress.ip_address("127.0.0.1") in found.addresses
