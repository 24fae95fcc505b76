"""A certificate made on the spot, so that a phone's browser lets the page use its microphone."""

import ipaddress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID


@dataclass(frozen=True)
class Certificate:
    """Files of a certificate and what a person can compare it by."""

    certificate: Path
    key: Path
    fingerprint: str
    """SHA-256, in pairs."""


def certificate_for(address: str, folder: Path) -> Certificate:
    """A self-made certificate for an IP address; made again when it runs out or moves."""
    folder.mkdir(parents=True, exist_ok=True)
    cert_file, key_file = folder / "bench.crt", folder / "bench.key"
    known = _kept(cert_file, address) if key_file.exists() else None
    if known is None:
        known = _make(address, cert_file, key_file)
    digest = known.fingerprint(hashes.SHA256()).hex().upper()
    pairs = ":".join(digest[i : i + 2] for i in range(0, len(digest), 2))
    return Certificate(cert_file, key_file, pairs)


def _kept(file: Path, address: str) -> x509.Certificate | None:
    """The certificate in a file when it is for this address and good for another day."""
    try:
        known = x509.load_pem_x509_certificate(file.read_bytes())
        names = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        return None
    fits = ipaddress.ip_address(address) in names.get_values_for_type(x509.IPAddress)
    fresh = known.not_valid_after_utc > datetime.now(UTC) + timedelta(days=1)
    return known if fits and fresh else None


def _make(address: str, cert_file: Path, key_file: Path) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "hoopwise bench")])
    now = datetime.now(UTC)
    usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(minutes=5))
        .not_valid_after(now + timedelta(days=365))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=False)
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))]),
            critical=False,
        )
        .sign(key, hashes.SHA256())
    )
    key_file.touch(mode=0o600)
    key_file.chmod(0o600)
    key_file.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    cert_file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made
