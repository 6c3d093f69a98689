"""A certificate authority for one trial: it stands for the one that a mail provider is known by."""

import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

DAY = timedelta(days=1)


def make_authority(folder: Path, host: str) -> tuple[Path, ssl.SSLContext]:
    """The authority's certificate, as a file, and what a server of that name speaks TLS with."""
    now = datetime.now(UTC)  # noqa: TID251  certificates are of the wall clock
    key, own = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    name = _name("Authority for one trial")
    authority = (
        x509.CertificateBuilder(name, name, key.public_key(), 1, now - DAY, now + DAY)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    server = (
        x509.CertificateBuilder(name, _name(host), own.public_key(), 2, now - DAY, now + DAY)
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(host)]), critical=False)
        .sign(key, hashes.SHA256())
    )
    trusted, chain = folder / "trial-authority.crt", folder / "far-end.pem"
    trusted.write_bytes(authority.public_bytes(Encoding.PEM))
    chain.write_bytes(
        own.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        + server.public_bytes(Encoding.PEM)
    )
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(chain)
    return trusted, context


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])
