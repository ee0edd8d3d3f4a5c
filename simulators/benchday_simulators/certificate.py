"""A certificate that a unit makes for itself, signed by nobody else (RFC 5280); kept in its folder."""

import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

FILE = "page.pem"
VALID = timedelta(days=3650)


def context_of(directory: Path, serial: str) -> ssl.SSLContext:
    """Give what the unit's page encrypts with; its certificate is made when there is none yet."""
    path = directory / FILE
    if not path.exists():
        fresh = path.with_suffix(".new")
        fresh.write_bytes(_made(serial))
        fresh.replace(path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(path)
    return context


def forget(directory: Path) -> None:
    """Take the certificate away, so that another is made."""
    (directory / FILE).unlink(missing_ok=True)


def _made(serial: str) -> bytes:
    """Make a key and its certificate, both as PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Fenbook {serial}")])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + VALID)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return private + certificate.public_bytes(serialization.Encoding.PEM)
