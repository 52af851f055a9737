"""Are the certificates of the bench what browsers take, for its hosts alone, and do their keys stay private?"""

from __future__ import annotations

import shutil
import socket
import ssl
import stat
import subprocess
import threading
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, load_pem_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID

from tracker.bench.certificate_files import LEAF, LEAF_KEY, ROOT, ROOT_KEY, certificates_in, folder_beside
from tracker.bench.certificates import HOME_NAMES, Pair, make_leaf, make_root, root_serves
from tracker.errors import Conflict, UsageError

NOW = datetime.now(UTC).replace(microsecond=0)
HOSTS = ("127.0.0.1", "localhost", "[::1]", "192.168.1.20", "kitchen.example")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "kitchen.db.keys"


def loaded(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


@contextmanager
def answering(chain: Path, key: Path):
    """A socket that shakes hands once for each caller; yields its port."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chain, key)
    listening = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        while True:
            try:
                caller, _ = listening.accept()
            except OSError:
                return
            try:
                with context.wrap_socket(caller, server_side=True) as talk:
                    talk.sendall(b"bench")
            except (ssl.SSLError, OSError):
                continue

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    try:
        yield listening.getsockname()[1]
    finally:
        listening.shutdown(socket.SHUT_RDWR)
        listening.close()
        thread.join(5)


def says(port: int, host: str, root: Path) -> bytes:
    """What a caller hears who asks for ``host`` and trusts ``root`` alone."""
    context = ssl.create_default_context(cafile=str(root))
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    with (
        socket.create_connection(("127.0.0.1", port), timeout=5) as caller,
        context.wrap_socket(caller, server_hostname=host.strip("[]")) as talk,
    ):
        return talk.recv(10)


def test_a_client_that_trusts_the_root_takes_it_for_its_hosts_only(folder):
    made = certificates_in(folder, HOSTS, now=NOW)
    other = certificates_in(folder.with_name("other"), HOSTS, now=NOW)
    with answering(made.chain, made.key) as port:
        for host in HOSTS:
            assert says(port, host, made.root) == b"bench"
        for host in ("evil.example", "192.168.1.21", "a.kitchen.example", "127.0.0.2"):
            with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
                says(port, host, made.root)
        with pytest.raises(ssl.SSLCertVerificationError):
            says(port, "localhost", other.root)


def test_the_root_is_good_for_nobodys_bank(folder):
    """A certificate that a thief of the key signs for another site is refused by the name constraints."""
    made = certificates_in(folder, HOSTS, now=NOW)
    root = Pair(certificate=made.root.read_bytes(), key=(folder / ROOT_KEY).read_bytes())
    for stolen in ("bank.example", "8.8.8.8", "example", "xlocal"):
        leaf = make_leaf(root, [stolen], now=NOW)
        chain, key = folder / "stolen.pem", folder / "stolen-key.pem"
        chain.write_bytes(leaf.certificate + root.certificate)
        key.write_bytes(leaf.key)
        with answering(chain, key) as port, pytest.raises(ssl.SSLCertVerificationError, match="subtree"):
            says(port, stolen, made.root)
    for at_home in ("10.1.2.3", f"oven.{HOME_NAMES[1]}", "fd00::7"):
        assert root_serves(root, [at_home], now=NOW)


@pytest.mark.skipif(not shutil.which("openssl"), reason="openssl is not here")
@pytest.mark.parametrize("purpose", ["smimesign", "sslclient"])
def test_the_root_is_good_for_nobodys_mail_and_lets_nobody_in(folder, purpose):
    """What a thief of the key signs for something other than a server is refused, even with a name of the house."""
    made = certificates_in(folder, HOSTS, now=NOW)
    root = loaded(made.root)
    key = ec.generate_private_key(ec.SECP256R1())
    use = {"smimesign": ExtendedKeyUsageOID.EMAIL_PROTECTION, "sslclient": ExtendedKeyUsageOID.CLIENT_AUTH}[purpose]
    stolen = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(root.subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(root.not_valid_before_utc)
        .not_valid_after(root.not_valid_before_utc + timedelta(days=90))
        .add_extension(x509.SubjectAlternativeName([x509.RFC822Name("head@bank.example")]), critical=True)
        .add_extension(x509.ExtendedKeyUsage([use]), critical=False)
        .sign(load_pem_private_key((folder / ROOT_KEY).read_bytes(), None), hashes.SHA256())
    )
    (folder / "stolen.pem").write_bytes(stolen.public_bytes(Encoding.PEM))
    asked = ["openssl", "verify", "-purpose", purpose, "-CAfile", str(made.root), str(folder / "stolen.pem")]
    told = subprocess.run(asked, capture_output=True, text=True)
    assert "CA certificate" in told.stderr or "purpose" in told.stderr, told.stderr
    assert told.returncode != 0


def test_it_is_shaped_as_browsers_ask(folder):
    made = certificates_in(folder, HOSTS, now=NOW)
    leaf, root = loaded(made.chain), loaded(made.root)
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=397)
    assert leaf.not_valid_before_utc < NOW < leaf.not_valid_after_utc
    get = leaf.extensions.get_extension_for_class
    assert list(get(x509.ExtendedKeyUsage).value) == [ExtendedKeyUsageOID.SERVER_AUTH]
    assert get(x509.BasicConstraints).value.ca is False
    assert get(x509.SubjectAlternativeName).value.get_values_for_type(x509.DNSName) == ["localhost", "kitchen.example"]
    ours = root.extensions.get_extension_for_class
    assert (ours(x509.BasicConstraints).value.ca, ours(x509.BasicConstraints).value.path_length) == (True, 0)
    assert ours(x509.NameConstraints).critical
    assert made.fingerprint.count(":") == 31
    if shutil.which("openssl"):  # a second opinion, where it is there
        told = subprocess.run(
            [
                "openssl",
                "verify",
                "-x509_strict",
                "-CAfile",
                made.root,
                "-verify_hostname",
                "kitchen.example",
                made.chain,
            ],
            capture_output=True,
            text=True,
        )
        assert told.stdout.endswith(": OK\n"), told.stderr


def test_keys_are_private_and_lie_beside_the_kitchen(folder):
    assert folder_beside(folder.with_name("kitchen.db")) == folder
    with pytest.raises(UsageError, match="database server"):
        folder_beside(None)
    folder.mkdir(mode=0o755)
    certificates_in(folder, HOSTS, now=NOW)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {path.name: stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()} == dict.fromkeys(
        (ROOT, ROOT_KEY, LEAF, LEAF_KEY), 0o600
    )


def test_no_words_hold_a_key(folder):
    made = certificates_in(folder, HOSTS, now=NOW)
    told = made.words("https://kitchen.example:8030/trust") + repr(made)
    told += repr(Pair(certificate=made.root.read_bytes(), key=(folder / ROOT_KEY).read_bytes()))
    assert "PRIVATE" not in told
    assert made.fingerprint in told
    assert b"PRIVATE" not in made.chain.read_bytes() + made.root.read_bytes() + made.root_der


def test_it_is_kept_until_it_has_to_be_renewed_and_the_root_longer(folder):
    def all_bytes() -> dict[str, bytes]:
        return {path.name: path.read_bytes() for path in folder.iterdir()}

    first = certificates_in(folder, HOSTS, now=NOW)
    assert first.new_root
    before = all_bytes()
    again = certificates_in(folder, [*HOSTS, "localhost"], now=NOW + timedelta(days=365))
    assert (all_bytes(), again.new_root) == (before, False)

    late = NOW + timedelta(days=367)  # less than a month is left
    renewed = certificates_in(folder, HOSTS, now=late)
    assert (renewed.fingerprint, renewed.new_root) == (first.fingerprint, False)
    assert all_bytes()[LEAF] != before[LEAF]
    assert loaded(folder / LEAF).not_valid_after_utc > late + timedelta(days=390)

    moved = certificates_in(folder, [*HOSTS, "10.0.0.9", "oven.local"], now=late)  # within what the root is good for
    assert (moved.fingerprint, moved.new_root) == (first.fingerprint, False)
    fewer = certificates_in(folder, HOSTS[:2], now=late)
    assert fewer.fingerprint == first.fingerprint
    names = loaded(folder / LEAF).extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert len(list(names)) == 2

    elsewhere = certificates_in(folder, [*HOSTS, "bakery.example"], now=late)
    assert elsewhere.new_root
    assert elsewhere.fingerprint != first.fingerprint
    old = certificates_in(folder, HOSTS, now=late + timedelta(days=3600))
    assert old.new_root


@pytest.mark.parametrize("name", [ROOT, ROOT_KEY, LEAF, LEAF_KEY])
@pytest.mark.parametrize(
    "content", [None, b"", b"no certificate", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"]
)
def test_what_was_lost_or_broken_is_made_again(folder, name, content):
    first = certificates_in(folder, HOSTS, now=NOW)
    if content is None:
        (folder / name).unlink()
    else:
        (folder / name).write_bytes(content)
    made = certificates_in(folder, HOSTS, now=NOW)
    assert made.new_root is (name in (ROOT, ROOT_KEY))
    assert (made.fingerprint == first.fingerprint) is not made.new_root
    with answering(made.chain, made.key) as port:
        assert says(port, "localhost", made.root) == b"bench"
    if name == LEAF_KEY and content is not None:
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600


def test_keys_of_two_certificates_are_not_mixed(folder):
    """A crash between two files leaves a key that does not fit: seen, and made again."""
    certificates_in(folder, HOSTS, now=NOW)
    (folder / LEAF_KEY).write_bytes(make_leaf(make_root(HOSTS, now=NOW), HOSTS, now=NOW).key)
    made = certificates_in(folder, HOSTS, now=NOW)
    with answering(made.chain, made.key) as port:
        assert says(port, "localhost", made.root) == b"bench"


def test_a_folder_that_cannot_be_used_is_said(folder):
    folder.write_text("a file")
    with pytest.raises(Conflict, match="folder for the keys"):
        certificates_in(folder, HOSTS, now=NOW)
    folder.unlink()
    folder.symlink_to(folder.parent)
    with pytest.raises(Conflict, match="link to somewhere else"):
        certificates_in(folder, HOSTS, now=NOW)
