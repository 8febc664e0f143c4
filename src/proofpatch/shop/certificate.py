"""The shop's own certificate authority: what lets a phone trust the laptop, and nothing else.

Three certificates. The phone trusts the first, the authority; its key is thrown away once it has signed the second, so
that nobody can sign anything else with it. The second, kept to sign anew, is bound to this machine's names and to
addresses that only exist inside a network (X.509 name constraints, critical). The bound stands on the second as well
as on the first because a device may pass over what a trusted certificate says of itself (RFC 5280, 6.1). The third is
the server's; it is made anew when the machine's names or addresses change, or near its end.
"""

from __future__ import annotations

import contextlib
import datetime
import ipaddress
import os
import re
import socket
import tempfile
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from proofpatch.errors import InputError

FOLDER = "tls"
AUTHORITY, SIGNER, SIGNER_KEY = "authority.pem", "signer.pem", "signer.key"
SERVER, SERVER_KEY = "server.pem", "server.key"
# Of the authority: common practice, no source. Of the server: phones refuse more than 825 days of an authority that was
# trusted by hand (their maker's page "Requirements for trusted certificates in iOS 13 and macOS 10.15", read); 398 days
# is what browsers allow public ones (from memory, unverified), and a day is lost to clocks.
AUTHORITY_DAYS, SERVER_DAYS, RENEWED_BEFORE = 3650, 397, 30
EARLY = datetime.timedelta(days=1)  # a phone's clock may be behind
# Addresses that no site of the world has: RFC 1122 (own machine), 1918, 3927, 4193, 4291.
PRIVATE = tuple(
    ipaddress.ip_network(one)
    for one in ("127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "::1/128",
                "fc00::/7", "fe80::/10")
)  # fmt: skip
HOST = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")
Key = ec.EllipticCurvePrivateKey
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


@dataclass(frozen=True)
class Machine:
    """What this machine is called on its network: names, addresses."""

    names: tuple[str, ...]
    addresses: tuple[Address, ...]


@dataclass(frozen=True)
class Certificate:
    """The shop's certificates as files. left_out: names and addresses that the authority does not cover."""

    folder: Path
    authority: x509.Certificate
    ends: datetime.datetime
    machine: Machine
    left_out: tuple[str, ...]

    @property
    def chain(self) -> Path:
        """The server's certificate and the one that signed it."""
        return self.folder / SERVER

    @property
    def key(self) -> Path:
        """The server's private key."""
        return self.folder / SERVER_KEY

    @property
    def der(self) -> bytes:
        """The authority's certificate as phones take it in."""
        return self.authority.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate in pairs, as settings show it."""
        return self.authority.fingerprint(hashes.SHA256()).hex(":").upper()

    @property
    def name(self) -> str:
        """Under which a phone lists the authority."""
        return _called(self.authority.subject)


def this_machine() -> Machine:
    """Names and addresses of this machine as its network sees them; nothing is sent to find them."""
    host = socket.gethostname().partition(".")[0].lower()
    names = ["localhost", *([host, f"{host}.local"] if HOST.fullmatch(host) and host != "localhost" else [])]
    found = {"127.0.0.1"}
    for family, far in ((socket.AF_INET, "10.255.255.255"), (socket.AF_INET6, "fd00::1")):
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as probe:
                probe.connect((far, 9))  # only asks which of its addresses would be used
                found.add(probe.getsockname()[0].partition("%")[0])
        except OSError:
            continue
    with contextlib.suppress(OSError):  # a name that nobody resolves
        found |= {str(one[4][0]).partition("%")[0] for one in socket.getaddrinfo(socket.gethostname(), None)}
    addresses = sorted((ipaddress.ip_address(one) for one in found), key=lambda one: (one.version, int(one)))
    return Machine(tuple(names), tuple(addresses))


def certificate_of(
    shop: Path, machine: Machine | None = None, now: datetime.datetime | None = None
) -> Certificate:  # fmt: skip
    """The certificates of a shop's folder, made or renewed where that is due.

    Args:
        machine: what the server is reached under; None: as this machine is called now. now: None: the clock's.

    Raises:
        InputError: the folder cannot be written, or holds something else.
    """
    called, now = machine or this_machine(), now or datetime.datetime.now(datetime.UTC)
    folder = shop / FOLDER
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        if not (folder / SIGNER_KEY).exists():
            _found(folder, called, now)
        authority, signer = (_read(folder / name) for name in (AUTHORITY, SIGNER))
        if signer.not_valid_after_utc - now < datetime.timedelta(days=RENEWED_BEFORE):
            raise InputError("tls", "The shop's certificate authority is near its end.", _anew(folder))
        covered, left_out = _covered(signer, called)
        server = _read(folder / SERVER) if (folder / SERVER).exists() else None
        if server is None or _due(server, signer, covered, now):
            server = _serve(folder, signer, covered, now)
    except OSError as trouble:
        said = f"The folder {str(folder)[-60:]!r} cannot be used: {trouble.strerror}."
        raise InputError("tls", said, "Make yourself its owner again, or name another --folder.") from None
    except ValueError as trouble:
        if isinstance(trouble, InputError):
            raise
        said = f"The certificates in {str(folder)[-60:]!r} cannot be read."
        raise InputError("tls", said, _anew(folder)) from None
    return Certificate(folder, authority, server.not_valid_after_utc, covered, left_out)


def _anew(folder: Path) -> str:
    return f"Move {str(folder)[-60:]} away to begin anew; every phone then has to trust the new one."


def _found(folder: Path, machine: Machine, now: datetime.datetime) -> None:
    """The authority, and the signer it binds; the authority's own key is never written."""
    bound = x509.NameConstraints(
        [*map(x509.DNSName, machine.names), *map(x509.IPAddress, PRIVATE)], excluded_subtrees=None
    )  # fmt: skip
    place = next((name for name in machine.names if name != "localhost"), "this laptop")
    name = f"proofpatch shop on {place}, {now:%Y-%m-%d}"[:64]
    root, below = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    ends = now + datetime.timedelta(days=AUTHORITY_DAYS)
    authority = _authority(_named(name), _named(name), root, root, now, ends, 1, bound)
    signer = _authority(_named(f"{name[:55]}, signer"), _named(name), below, root, now, ends, 0, bound)
    # The key last: with it the authority counts as made.
    _write(folder / AUTHORITY, _pem(authority))
    _write(folder / SIGNER, _pem(signer))
    _write(folder / SIGNER_KEY, _secret(below))
    (folder / SERVER).unlink(missing_ok=True)


def _authority(
    subject: x509.Name, issuer: x509.Name, key: Key, by: Key, now: datetime.datetime, ends: datetime.datetime,
    below: int, bound: x509.NameConstraints,
) -> x509.Certificate:  # fmt: skip
    """A certificate that may sign. below: how many that sign may stand under it."""
    signs = x509.KeyUsage(
        digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=True, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    draft = _draft(subject, issuer, key, by, now, ends)
    draft = draft.add_extension(x509.BasicConstraints(ca=True, path_length=below), critical=True)
    draft = draft.add_extension(signs, critical=True).add_extension(bound, critical=True)
    return draft.sign(by, hashes.SHA256())


def _serve(folder: Path, signer: x509.Certificate, machine: Machine, now: datetime.datetime) -> x509.Certificate:
    """A new certificate of the server, with a new key, on disk."""
    by = serialization.load_pem_private_key((folder / SIGNER_KEY).read_bytes(), None)
    if not isinstance(by, Key):
        raise ValueError("the signer's key is of another kind")
    key = ec.generate_private_key(ec.SECP256R1())
    ends = min(now + datetime.timedelta(days=SERVER_DAYS) - EARLY, signer.not_valid_after_utc)
    names = [*map(x509.DNSName, machine.names), *map(x509.IPAddress, machine.addresses)]
    draft = _draft(_named("proofpatch shop"), signer.subject, key, by, now, ends)
    draft = draft.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    draft = draft.add_extension(x509.SubjectAlternativeName(names), critical=False)
    draft = draft.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    found = draft.sign(by, hashes.SHA256())
    _write(folder / SERVER_KEY, _secret(key))
    _write(folder / SERVER, _pem(found) + _pem(signer))
    return found


def _draft(
    subject: x509.Name, issuer: x509.Name, key: Key, by: Key, now: datetime.datetime, ends: datetime.datetime
) -> x509.CertificateBuilder:  # fmt: skip
    """What all three have in common."""
    own = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    its = x509.AuthorityKeyIdentifier.from_issuer_public_key(by.public_key())
    draft = x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key.public_key())
    draft = draft.serial_number(x509.random_serial_number()).not_valid_before(now - EARLY).not_valid_after(ends)
    return draft.add_extension(own, critical=False).add_extension(its, critical=False)


def _covered(signer: x509.Certificate, machine: Machine) -> tuple[Machine, tuple[str, ...]]:
    """(what of the machine the signer may vouch for, the rest in words)."""
    allowed = signer.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    known = {one.value for one in allowed if isinstance(one, x509.DNSName)}
    names = tuple(name for name in machine.names if name in known)
    inside = tuple(one for one in machine.addresses if any(one in net for net in PRIVATE if net.version == one.version))
    left = [name for name in machine.names if name not in names]
    return Machine(names, inside), (*left, *(str(one) for one in machine.addresses if one not in inside))


def _due(server: x509.Certificate, signer: x509.Certificate, machine: Machine, now: datetime.datetime) -> bool:
    """Whether the server needs another certificate."""
    says = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    names, addresses = says.get_values_for_type(x509.DNSName), says.get_values_for_type(x509.IPAddress)
    same = set(names) == set(machine.names) and set(addresses) == set(machine.addresses)
    ends_soon = server.not_valid_after_utc - now < datetime.timedelta(days=RENEWED_BEFORE)
    return not same or ends_soon or server.issuer != signer.subject


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _called(name: x509.Name) -> str:
    return str(name.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value)


def _read(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


def _pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def _secret(key: Key) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )  # fmt: skip


def _write(path: Path, content: bytes) -> None:
    """The file, readable by its owner only from the first byte, whole or not there."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".")  # made with 0600
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    os.replace(name, path)
