"""What ``check`` sees of a service from outside, behind proxies of several kinds."""

import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread
from time import time
from typing import Any

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from django.test import Client, override_settings

from scalewitness.operating.asked import Asked
from scalewitness.operating.looking import looked
from scalewitness.operating.results import Result

CLIENT = "203.0.113.9"
HOPS = "192.0.2.1"
Headers = dict[str, str]


def good(headers: Headers, scheme: str) -> Headers:
    """Sets what it knows, whatever a caller says."""
    return headers | {"x-forwarded-for": CLIENT, "x-forwarded-proto": scheme}


def adding(headers: Headers, scheme: str) -> Headers:
    """Adds the address to what a caller says, as many do unless told otherwise."""
    before = headers.get("x-forwarded-for")
    return good(headers, scheme) | {"x-forwarded-for": f"{before}, {CLIENT}" if before else CLIENT}


def silent(headers: Headers, scheme: str) -> Headers:
    """Hands everything on and adds nothing."""
    return headers


def trusting(headers: Headers, scheme: str) -> Headers:
    """Takes a caller's word for the scheme."""
    proto = headers.get("x-forwarded-proto", scheme)
    return good(headers, scheme) | {"x-forwarded-proto": proto}


def two(headers: Headers, scheme: str) -> Headers:
    """The second adds the first one's address."""
    return good(headers, scheme) | {"x-forwarded-for": f"{CLIENT}, {HOPS}"}


class Proxy(httpx.BaseTransport):
    """In front of the real application."""

    def __init__(self, kind: Callable[[Headers, str], Headers]) -> None:
        self._kind = kind

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        passed = self._kind(dict(request.headers), request.url.scheme)
        answer = Client().get(request.url.path, headers=passed)
        content = b"".join(answer) if answer.streaming else answer.content
        return httpx.Response(answer.status_code, headers=dict(answer.headers), content=content)


@pytest.fixture(autouse=True)
def in_production(db: None) -> Any:
    with override_settings(
        PUBLIC_URL="https://testserver",
        SECURE_SSL_REDIRECT=True,
        SECURE_PROXY_SSL_HEADER=("HTTP_X_FORWARDED_PROTO", "https"),
        SECURE_HSTS_SECONDS=3600,
        TRUSTED_PROXIES=1,
    ):
        yield


def seen(kind: Callable[[Headers, str], Headers], *only: str) -> list[Result]:
    return list(looked(Asked(transport=Proxy(kind)), only))


def wrong(results: list[Result]) -> list[str]:
    return [one.words for one in results if one.state == "wrong"]


@pytest.mark.parametrize("kind", [good, adding])
def test_a_proxy_that_is_set_up_well_is_right(kind: Any) -> None:
    results = seen(kind, "site", "proxy", "phone")
    assert wrong(results) == []
    assert [one.words for one in results if one.state == "unsure"] == [
        "whether the proxy's log masks buyers' links cannot be seen from outside"
    ]
    counted = next(one for one in results if one.name == "addresses")
    assert counted.words == f"requests from here are counted by {CLIENT}, forged or not"


def test_a_proxy_that_tells_nothing_is_noticed() -> None:
    results = seen(silent, "proxy")
    assert "the service takes requests over TLS for ones without" in wrong(results)


def test_a_proxy_that_believes_its_callers_is_noticed() -> None:
    assert wrong(seen(trusting, "proxy")) == [
        "a caller's own X-Forwarded-Proto is handed on",
        "http://testserver answers 200 without TLS to who says it had TLS",
    ]


def test_two_proxies_where_the_settings_have_one_are_noticed() -> None:
    """Else all callers of the outer one were one."""
    assert wrong(seen(two, "proxy")) == ["TRUSTED_PROXIES is 1, and X-Forwarded-For names 2"]
    with override_settings(TRUSTED_PROXIES=2):
        assert wrong(seen(two, "proxy")) == []


def test_an_address_that_anybody_can_forge_is_noticed() -> None:
    with override_settings(TRUSTED_PROXIES=2):
        results = seen(adding, "proxy")
    assert wrong(results) == ["TRUSTED_PROXIES is 2, and X-Forwarded-For names 1"]


def test_who_cannot_see_the_addresses_is_unsure_of_them() -> None:
    with override_settings(METRICS_TOKEN=""):
        found = {one.name: one.state for one in seen(good, "proxy")}
    assert found["addresses"] == "unsure"


def test_what_is_served_unlike_a_service_is_noticed() -> None:
    """As here, where nothing is collected and the files come from where they lie."""
    results = seen(good, "static")
    assert [one.name for one in results] == ["static"]
    assert results[0].state != "right"


@contextmanager
def served_with_tls(days: int, folder: Path, trust: pytest.MonkeyPatch) -> Iterator[str]:
    """The address of a server whose certificate ends in so many days; it is trusted here."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = datetime.fromtimestamp(time(), UTC)
    alternative = x509.SubjectAlternativeName([x509.DNSName("localhost")])
    signed = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=days, hours=1))
        .add_extension(alternative, critical=False)
        .sign(key, hashes.SHA256())
    )
    both = folder / "both.pem"
    pem = serialization.Encoding.PEM
    private = key.private_bytes(
        pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    both.write_bytes(signed.public_bytes(pem) + private)
    trust.setenv("SSL_CERT_FILE", str(both))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(both)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            with suppress(OSError), context.wrap_socket(server.accept()[0], server_side=True):
                pass

        Thread(target=answer, daemon=True).start()
        yield f"https://localhost:{server.getsockname()[1]}"


@pytest.mark.parametrize(("days", "state"), [(10, "wrong"), (60, "right")])
def test_a_certificate_that_nobody_renewed_is_noticed(
    days: int, state: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with served_with_tls(days, tmp_path, monkeypatch) as url, override_settings(PUBLIC_URL=url):
        (found,) = looked(Asked(), ["certificate"])
    assert (found.state, found.words) == (state, f"days left: {days}")


def test_a_certificate_that_nobody_vouches_for_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with served_with_tls(60, tmp_path, monkeypatch) as url, override_settings(PUBLIC_URL=url):
        monkeypatch.delenv("SSL_CERT_FILE")
        (found,) = looked(Asked(), ["certificate"])
    assert (found.state, "self-signed certificate" in found.words) == ("wrong", True)
