"""A root of the shop's own, and the certificate it signs, so that phones on the shop's network get a secure page.

Phones give the camera, and work without signal, to secure pages alone; no public authority certifies an address of a private
network. The root is name-constrained: it can vouch for this machine's names and for private addresses, for nothing else, so a
stolen key forges no bank. Keys stay in VAR_DIR, readable by their owner alone, and in no backup.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from company.lan import NETWORKS

ROOT_FOR = timedelta(days=3650)
LEAF_FOR = timedelta(days=397)  # the most that phones accept
RENEW_BEFORE = timedelta(days=30)
CLOCKS_DIFFER = timedelta(days=1)  # a phone whose clock is behind must not find it "not yet valid"


class CertificateError(Exception):
    """What keeps a certificate from being made, in a sentence."""


@dataclass(frozen=True, kw_only=True)
class Certificates:
    """Where the files lie, and by what people compare the root: its SHA-256 in pairs."""

    root: Path
    leaf: Path
    key: Path
    fingerprint: str
    renewed: bool


def certificates_ready(
    folder: Path, *, company: str, addresses: Sequence[str], names: Sequence[str], at: datetime
) -> Certificates:
    """Make what is not there yet, renew what runs out or names another address, and say where it lies.

    Raises CertificateError where an address is not of a private network, or the folder cannot be written.
    """
    ips = [ip_address(address) for address in addresses]
    outside = [str(ip) for ip in ips if not any(ip in ip_network(net) for net in NETWORKS)]
    if outside:
        raise CertificateError(
            f"{', '.join(outside) or 'That'} is no address of a private network: use a certificate of a public authority there."
        )
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        root_key, root = _root(folder, company=company, names=names, at=at)
        renewed = _leaf(folder, root_key=root_key, root=root, ips=ips, names=names, at=at)
    except OSError as error:
        raise CertificateError(f"The certificates cannot be kept in {folder}: {error.strerror}.") from error
    return Certificates(
        root=folder / "root.pem",
        leaf=folder / "leaf.pem",
        key=folder / "leaf.key",
        fingerprint=fingerprint(root),
        renewed=renewed,
    )


def root_read(folder: Path) -> x509.Certificate | None:
    """Return the shop's root, if one was made."""
    try:
        return x509.load_pem_x509_certificate((folder / "root.pem").read_bytes())
    except (OSError, ValueError):
        return None


def fingerprint(root: x509.Certificate) -> str:
    """Return a certificate's SHA-256 as people compare it."""
    return root.fingerprint(hashes.SHA256()).hex(":").upper()


def _root(
    folder: Path, *, company: str, names: Sequence[str], at: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    there = root_read(folder)
    key_file = folder / "root.key"
    if there is not None and key_file.exists() and there.not_valid_after_utc > at + LEAF_FOR and _vouches_for(there, names):
        key = serialization.load_pem_private_key(key_file.read_bytes(), password=None)
        if isinstance(key, ec.EllipticCurvePrivateKey) and key.public_key() == there.public_key():
            return key, there
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, company[:60] or "Knowngood"),
            x509.NameAttribute(NameOID.COMMON_NAME, f"{company[:40]} shop root"),
        ]
    )
    permitted: list[x509.GeneralName] = [x509.DNSName(one) for one in names]
    permitted += [x509.IPAddress(ip_network(net)) for net in NETWORKS]
    root = (
        _begun(subject=name, issuer=name, key=key, at=at, until=at + ROOT_FOR)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    (folder / "leaf.pem").unlink(missing_ok=True)
    _keep(key_file, _pem(key))
    _keep(folder / "root.pem", root.public_bytes(serialization.Encoding.PEM), mode=0o644)
    return key, root


def _vouches_for(root: x509.Certificate, names: Sequence[str]) -> bool:
    permitted = root.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    return set(names) <= {one.value for one in permitted if isinstance(one, x509.DNSName)}


def _leaf(
    folder: Path,
    *,
    root_key: ec.EllipticCurvePrivateKey,
    root: x509.Certificate,
    ips: Sequence[IPv4Address | IPv6Address],
    names: Sequence[str],
    at: datetime,
) -> bool:
    wanted = {*names, *(str(ip) for ip in ips)}
    try:
        there = x509.load_pem_x509_certificate((folder / "leaf.pem").read_bytes())
        held = there.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        named = {*held.get_values_for_type(x509.DNSName), *(str(ip) for ip in held.get_values_for_type(x509.IPAddress))}
        if wanted == named and there.not_valid_after_utc > at + RENEW_BEFORE and (folder / "leaf.key").exists():
            return False
    except (OSError, ValueError):
        pass  # none yet, or one nobody can read: made anew
    key = ec.generate_private_key(ec.SECP256R1())
    said = [*(x509.DNSName(one) for one in names), *(x509.IPAddress(ip) for ip in ips)]
    leaf = (
        _begun(
            subject=x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0] if names else str(ips[0]))]),
            issuer=root.subject,
            key=key,
            at=at,
            until=at + LEAF_FOR - CLOCKS_DIFFER,
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(said), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    _keep(folder / "leaf.key", _pem(key))
    # the chain: what a phone is shown
    chain = leaf.public_bytes(serialization.Encoding.PEM) + root.public_bytes(serialization.Encoding.PEM)
    _keep(folder / "leaf.pem", chain, mode=0o644)
    return True


def _begun(
    *, subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, at: datetime, until: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - CLOCKS_DIFFER)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(**kw: bool) -> x509.KeyUsage:
    names = [
        *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement"),
        *("key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
    ]
    return x509.KeyUsage(**{name: kw.get(name, False) for name in names})


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())


def _keep(path: Path, content: bytes, mode: int = 0o600) -> None:
    """Write a file whole, by another name first: a half-written key would keep the shop from starting."""
    fresh = path.with_suffix(path.suffix + ".new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
