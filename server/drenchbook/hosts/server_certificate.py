"""The certificate of the web add-in: an authority of the user's own that can vouch for this computer and nothing else.

Excel loads an add-in over https only. The authority's name constraints limit it to localhost, so a stolen key of it
cannot imitate any other site; it is trusted by the user, on the user's own computer, and by nobody else.
"""

from __future__ import annotations

import datetime
import ipaddress
from pathlib import Path
from typing import Any

from drenchbook.hosts.state_folder import state_folder, write_private

AUTHORITY, AUTHORITY_KEY = "authority.pem", "authority.key"
LEAF, LEAF_KEY = "localhost.pem", "localhost.key"
AUTHORITY_DAYS, LEAF_DAYS = 3650, 390  # browsers refuse a leaf of more than 398 days
RENEWED_BEFORE = 30  # [days] to its end
LOOPBACKS = (ipaddress.ip_network("127.0.0.1/32"), ipaddress.ip_network("::1/128"))


def usable() -> tuple[Path, Path] | None:
    """Certificate and key to serve with, or None where none was made; one that ends soon is renewed first."""
    folder = state_folder()
    if not all((folder / name).is_file() for name in (AUTHORITY, AUTHORITY_KEY, LEAF, LEAF_KEY)):
        return None
    if _days_left(folder / LEAF) < RENEWED_BEFORE and _days_left(folder / AUTHORITY) > LEAF_DAYS:
        _make_leaf(folder)
    return folder / LEAF, folder / LEAF_KEY


def make_certificate() -> tuple[Path, bool]:
    """The authority's file, and whether it is new: one that lasts is kept, so that it need not be trusted again."""
    folder = state_folder()
    authority = folder / AUTHORITY
    kept = authority.is_file() and (folder / AUTHORITY_KEY).is_file() and _days_left(authority) > LEAF_DAYS
    if not kept:
        _make_authority(folder)
    _make_leaf(folder)
    return authority, not kept


def how_to_trust(authority: Path) -> str:
    """What the user does once, for each system."""
    return f"""\
The authority {authority} can vouch for localhost only. Trust it once, as the user who runs the spreadsheet program:
  Windows  certutil -user -addstore Root "{authority}"
  macOS    security add-trusted-cert -r trustRoot -p ssl -k ~/Library/Keychains/login.keychain-db "{authority}"
  Linux    certutil -d sql:$HOME/.pki/nssdb -A -t "C,," -n Drenchbook -i "{authority}"  (Chromium; libnss3-tools)
  Firefox  Settings, Certificates, Import
Restart the browser or spreadsheet program, run drenchbook server, and open https://localhost:8714/
No warning may show.
To take the trust back, delete the authority "Drenchbook local authority" there and the file here."""


def _make_authority(folder: Path) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Drenchbook local authority")])
    # One permitted name of a kind forbids all others of that kind: every other host, every other address.
    permitted = [x509.DNSName("localhost"), *(x509.IPAddress(network) for network in LOOPBACKS)]
    certificate = (
        _dated(name, name, key.public_key(), AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.OID_SERVER_AUTH]), critical=False)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(folder, AUTHORITY, AUTHORITY_KEY, certificate, key)


def _make_leaf(folder: Path) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    authority = x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes())
    signer: Any = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), None)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    names = [x509.DNSName("localhost"), *(x509.IPAddress(network.network_address) for network in LOOPBACKS)]
    certificate = (
        _dated(name, authority.subject, key.public_key(), LEAF_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.OID_SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
        .sign(signer, hashes.SHA256())
    )
    _write(folder, LEAF, LEAF_KEY, certificate, key)


def _dated(subject: Any, issuer: Any, public_key: Any, days: int) -> Any:
    from cryptography import x509

    # A day earlier, for clocks that run behind. These dates are the clock's business and touch no result.
    start = datetime.datetime.now(datetime.UTC).replace(microsecond=0) - datetime.timedelta(days=1)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public_key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + datetime.timedelta(days=days))
    )


def _usage(**yes: bool) -> Any:
    from cryptography import x509

    names = ("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement",
             "key_cert_sign", "crl_sign", "encipher_only", "decipher_only")  # fmt: skip
    return x509.KeyUsage(**{name: yes.get(name, False) for name in names})


def _write(folder: Path, name: str, key_name: str, certificate: Any, key: Any) -> None:
    from cryptography.hazmat.primitives import serialization

    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    write_private(folder / key_name, private)
    write_private(folder / name, certificate.public_bytes(serialization.Encoding.PEM))


def _days_left(file: Path) -> float:
    from cryptography import x509

    end = x509.load_pem_x509_certificate(file.read_bytes()).not_valid_after_utc
    return (end - datetime.datetime.now(datetime.UTC)).total_seconds() / 86_400
