"""How does a kitchen without a name on the internet get https?

By a root certificate of its own, which each tablet is told to trust once, and a certificate of
the bench signed by it, which can be renewed without asking the tablets again. The root is good
for names and addresses within a house only (RFC 5280, 4.2.1.10): whoever stole its key could
pass for nobody's bank. Nothing here touches a file or reads a clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from secrets import token_hex

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, load_pem_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

LEAF_LASTS = timedelta(days=397)  # longest that browsers take (CA/Browser Forum, ballot SC22 and after; from memory)
ROOT_LASTS = timedelta(days=3650)
EARLY = timedelta(days=1)  # the clock of a tablet may be behind
RENEWED_BEFORE = timedelta(days=30)
# Networks that lead nowhere outside a house: RFC 1918, 1122, 3927, 4193, 4291.
AT_HOME = (
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "169.254.0.0/16"),
    *("::1/128", "fc00::/7", "fe80::/10"),
)
# Endings kept for such networks: RFC 6761, 6762, 8375; "internal" by ICANN's resolution of 2024 (from memory).
HOME_NAMES = ("localhost", "local", "home.arpa", "internal", "test")


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A certificate and its private key, as PEM; ``repr`` shows no key."""

    certificate: bytes
    key: bytes

    def __repr__(self) -> str:
        return f"Pair({fingerprint(self.certificate)})"


def make_root(hosts: Sequence[str], *, now: datetime) -> Pair:
    """A root for names at home and for ``hosts``, whatever those are."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Bench of a kitchen, {token_hex(3)}")])
    begun = (
        _begun(name, name, key.public_key(), now, ROOT_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(
            x509.NameConstraints(permitted_subtrees=_permitted(hosts), excluded_subtrees=None), critical=True
        )
        # Name constraints hold for hosts only: without this the root could sign for a person's mail, or for programs.
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    return _pair(begun.sign(key, hashes.SHA256()), key)


def make_leaf(root: Pair, hosts: Sequence[str], *, now: datetime) -> Pair:
    """A certificate of the bench for ``hosts`` (names, IPv4, IPv6 with or without brackets), signed by ``root``."""
    signer = x509.load_pem_x509_certificate(root.certificate)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Bench")])
    begun = (
        _begun(name, signer.subject, key.public_key(), now, LEAF_LASTS)
        .add_extension(x509.SubjectAlternativeName([_general(host) for host in hosts]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)  # type: ignore[arg-type]
    )
    signing = load_pem_private_key(root.key, None)
    assert isinstance(signing, ec.EllipticCurvePrivateKey)
    return _pair(begun.sign(signing, hashes.SHA256()), key)


def root_serves(root: Pair, hosts: Sequence[str], *, now: datetime) -> bool:
    """Can this root still sign a certificate for ``hosts`` that outlives a renewal? False for what is broken."""
    try:
        certificate = _loaded(root)
        constraints = certificate.extensions.get_extension_for_class(x509.NameConstraints).value
    except (ValueError, TypeError, x509.ExtensionNotFound):
        return False
    allowed = constraints.permitted_subtrees or []
    lasts = certificate.not_valid_before_utc <= now and now + LEAF_LASTS <= certificate.not_valid_after_utc
    return lasts and all(_within(_general(host), allowed) for host in hosts)


def leaf_serves(leaf: Pair, root: Pair, hosts: Sequence[str], *, now: datetime) -> bool:
    """Is this certificate for just these ``hosts``, of this root, and good for a month more?"""
    try:
        certificate = _loaded(leaf)
        certificate.verify_directly_issued_by(x509.load_pem_x509_certificate(root.certificate))
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    lasts = certificate.not_valid_before_utc <= now <= certificate.not_valid_after_utc - RENEWED_BEFORE
    return lasts and set(names) == {_general(host) for host in hosts}


def fingerprint(certificate: bytes) -> str:
    """SHA-256 of the certificate, as browsers write it: "3F:A2:…"."""
    return x509.load_pem_x509_certificate(certificate).fingerprint(hashes.SHA256()).hex(":").upper()


def as_der(certificate: bytes) -> bytes:
    """As tablets take it in."""
    return x509.load_pem_x509_certificate(certificate).public_bytes(Encoding.DER)


def _loaded(pair: Pair) -> x509.Certificate:
    """Raises ValueError for what is broken, or for a key of another certificate."""
    certificate = x509.load_pem_x509_certificate(pair.certificate)
    if load_pem_private_key(pair.key, None).public_key() != certificate.public_key():
        raise ValueError
    return certificate


def _begun(
    name: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    begins = now.replace(microsecond=0) - EARLY
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + lasts)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _pair(certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> Pair:
    return Pair(
        certificate=certificate.public_bytes(Encoding.PEM),
        key=key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()),
    )


def _address(host: str) -> IPv4Address | IPv6Address | None:
    try:
        return ip_address(host.strip("[]"))
    except ValueError:
        return None


def _general(host: str) -> x509.GeneralName:
    address = _address(host)
    return x509.DNSName(host.lower()) if address is None else x509.IPAddress(address)


def _permitted(hosts: Sequence[str]) -> list[x509.GeneralName]:
    networks = [x509.IPAddress(ip_network(network)) for network in AT_HOME]
    asked: list[x509.GeneralName] = []
    for host in hosts:
        address, named = _address(host), _general(host)
        if not _within(named, [*networks, *map(x509.DNSName, HOME_NAMES), *asked]):
            asked.append(named if address is None else x509.IPAddress(ip_network(address)))
    return [*networks, *map(x509.DNSName, HOME_NAMES), *asked]


def _within(name: x509.GeneralName, allowed: Sequence[x509.GeneralName]) -> bool:
    for each in allowed:
        if isinstance(name, x509.DNSName) and isinstance(each, x509.DNSName):
            if name.value == each.value or name.value.endswith("." + each.value):
                return True
        elif isinstance(name, x509.IPAddress) and isinstance(each, x509.IPAddress):
            network = ip_network(str(each.value))
            if ip_address(str(name.value)) in network:
                return True
    return False
