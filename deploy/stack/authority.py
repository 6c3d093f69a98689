"""A certificate authority for one trial: it stands for the one that a mail provider is known by, or
for that of a cluster's own hosts."""

import ssl
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

DAY = timedelta(days=1)
CERTIFICATE = "trial-authority.crt"
"""The authority's own, in its folder."""


class Authority:
    """``certificate``: the file by which what it issues is known."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._key = folder, ec.generate_private_key(ec.SECP256R1())
        self._name, self._issued = _name("Authority for one trial"), 1
        now = _now()
        made = (
            x509.CertificateBuilder(
                self._name, self._name, self._key.public_key(), 1, now - DAY, now + DAY
            )
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .sign(self._key, hashes.SHA256())
        )
        self.certificate = folder / CERTIFICATE
        self.certificate.write_bytes(made.public_bytes(Encoding.PEM))

    def issue(self, file: str, hosts: Sequence[str]) -> Path:
        """A file with a private key and its certificate, of hosts by name or address: a server's,
        or that of a client which shows who it is."""
        self._issued += 1
        now, own = _now(), ec.generate_private_key(ec.SECP256R1())
        names = x509.SubjectAlternativeName([_host(one) for one in hosts])
        made = (
            x509.CertificateBuilder(
                self._name, _name(hosts[0]), own.public_key(), self._issued, now - DAY, now + DAY
            )
            .add_extension(names, critical=False)
            .sign(self._key, hashes.SHA256())
        )
        path = self._folder / file
        path.touch(mode=0o600)
        path.write_bytes(
            own.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
            + made.public_bytes(Encoding.PEM)
        )
        return path


def make_authority(folder: Path, host: str) -> tuple[Path, ssl.SSLContext]:
    """The authority's certificate, as a file, and what a server of that name speaks TLS with."""
    authority = Authority(folder)
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(authority.issue("far-end.pem", [host]))
    return authority.certificate, context


def _now() -> datetime:
    return datetime.now(UTC)  # noqa: TID251  certificates are of the wall clock


def _host(named: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(named))
    except ValueError:
        return x509.DNSName(named)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])
