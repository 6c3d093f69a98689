"""What the service looks like from outside, at ``PUBLIC_URL``."""

import re
import socket
import ssl
from collections.abc import Iterator, Mapping
from time import time
from typing import Final
from urllib.parse import urlsplit

import httpx
from django.conf import settings

from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result

LEAST_DAYS: Final = 14
"""Of a certificate: whoever renews by itself does so a month before (our judgement)."""
A_PAGE: Final = "/accounts/login/"
FORGED: Final = "198.51.100.77"
"""An address that nobody has (RFC 5737)."""
A_YEAR: Final = 31_536_000


def _client(asked: Asked, scheme: str = "") -> httpx.Client:
    url = urlsplit(settings.PUBLIC_URL)
    return httpx.Client(
        base_url=(url._replace(scheme=scheme) if scheme else url).geturl(),
        timeout=15,
        verify=ssl.create_default_context(),
        transport=asked.transport,
    )


def site(asked: Asked) -> Iterator[Result]:
    """Whether it answers there at all; and what no look from here can tell."""
    try:
        with _client(asked) as client:
            answer = client.get("/health/ready")
    except httpx.HTTPError as fault:
        todo = "see DNS, the proxy and its certificate"
        yield Result("site", "wrong", f"{settings.PUBLIC_URL} does not answer: {fault}", todo)
        return
    if answer.status_code != 200:
        words = f"{settings.PUBLIC_URL}/health/ready answers {answer.status_code}"
        yield Result("site", "wrong", words, "see the proxy's log, and web's")
    else:
        yield Result("site", "right", f"{settings.PUBLIC_URL} answers: {answer.text.strip()}")
    words = "whether the proxy's log masks buyers' links cannot be seen from outside"
    yield Result("site", "unsure", words, "read it: no line may hold what follows /offers/")


def certificate(asked: Asked) -> Iterator[Result]:
    """How long it holds."""
    parts = urlsplit(settings.PUBLIC_URL)
    if parts.scheme != "https":
        yield Result("certificate", "wrong", "PUBLIC_URL is without TLS", "serve it with TLS")
        return
    try:
        with (
            socket.create_connection((parts.hostname, parts.port or 443), 15) as line,
            ssl.create_default_context().wrap_socket(line, server_hostname=parts.hostname) as safe,
        ):
            ends = ssl.cert_time_to_seconds(str((safe.getpeercert() or {})["notAfter"]))
    except OSError as fault:
        yield Result("certificate", "wrong", f"it is refused: {fault}", "see the proxy's settings")
        return
    days = (ends - time()) / 86_400
    words = f"days left: {days:.0f}"
    if days < LEAST_DAYS:
        yield Result("certificate", "wrong", words, "see why it is not renewed")
    else:
        yield Result("certificate", "right", words)


def proxy(asked: Asked) -> Iterator[Result]:
    """What it tells the service of who asks, and whether a caller can tell it otherwise."""
    with _client(asked) as client:
        plain = client.get(A_PAGE)
        if plain.status_code in {301, 308}:
            words = "the service takes requests over TLS for ones without"
            todo = "the proxy must set X-Forwarded-Proto"
            yield Result("proxy", "wrong", words, todo)
        else:
            yield _believes_caller(client)
            yield _hsts(plain.headers)
        yield _redirects(asked)
        yield from _addresses(client)


def _believes_caller(client: httpx.Client) -> Result:
    answer = client.get(A_PAGE, headers={"X-Forwarded-Proto": "http"})
    if answer.status_code in {301, 308}:
        words = "a caller's own X-Forwarded-Proto is handed on"
        return Result("proxy", "wrong", words, "the proxy must set it, not add to it")
    return Result("proxy", "right", "the service sees https, whatever a caller says")


def _hsts(headers: Mapping[str, str]) -> Result:
    if kept := headers.get("Strict-Transport-Security"):
        return Result("hsts", "right", kept)
    if not settings.SECURE_HSTS_SECONDS:
        return Result("hsts", "unsure", "it is off", "set SECURE_HSTS_SECONDS once TLS is sure")
    return Result("hsts", "wrong", "it does not arrive", "the proxy must not take headers away")


def _redirects(asked: Asked) -> Result:
    host, forged = urlsplit(settings.PUBLIC_URL).hostname, {"X-Forwarded-Proto": "https"}
    try:
        with _client(asked, "http") as client:
            answer = client.get(A_PAGE, headers=forged)
    except httpx.HTTPError:
        return Result("proxy", "right", "nothing answers without TLS")
    if answer.headers.get("Location", "").startswith("https:"):
        return Result("proxy", "right", "whoever comes without TLS is sent to it")
    words = f"http://{host} answers {answer.status_code} without TLS to who says it had TLS"
    return Result("proxy", "wrong", words, "send port 80 to https, and set X-Forwarded-Proto")


def _addresses(client: httpx.Client) -> Iterator[Result]:
    """`/metrics` tells its operator by which address a request is counted."""
    operator = {"Authorization": f"Bearer {settings.METRICS_TOKEN}"}
    answer = client.get("/metrics", headers=operator)
    if "X-Counted-By" not in answer.headers:
        words = f"by which address callers are counted: /metrics answers {answer.status_code}"
        todo = "set METRICS_TOKEN, or run this where /metrics is open"
        yield Result("addresses", "unsure", words, todo)
        return
    passed = int(answer.headers["X-Forwarded-Addresses"])
    forged = client.get("/metrics", headers=operator | {"X-Forwarded-For": FORGED})
    if passed != settings.TRUSTED_PROXIES:
        words = f"TRUSTED_PROXIES is {settings.TRUSTED_PROXIES}, and X-Forwarded-For names {passed}"
        todo = f"set TRUSTED_PROXIES={passed}, if all of them are yours"
        yield Result("addresses", "wrong", words, todo)
    elif forged.headers["X-Counted-By"] == FORGED:
        words = "whoever writes an X-Forwarded-For is counted by it"
        yield Result("addresses", "wrong", words, "the outermost proxy must set it anew")
    else:
        words = f"requests from here are counted by {answer.headers['X-Counted-By']}, forged or not"
        yield Result("addresses", "right", words)


def static(asked: Asked) -> Iterator[Result]:
    """How a page's files come."""
    with _client(asked) as client:
        page = client.get(A_PAGE)
        found = re.search(r'href="([^"]+\.css)"', page.text)
        if page.status_code != 200 or found is None:
            words = f"the page {A_PAGE} answers {page.status_code}"
            yield Result("static", "unsure", words, "put right what stands above first")
            return
        answer = client.get(found[1])
        most = re.search(r"max-age=(\d+)", answer.headers.get("Cache-Control", ""))
        faults = [
            words
            for is_so, words in (
                (answer.status_code != 200, f"{found[1]} answers {answer.status_code}"),
                (not most or int(most[1]) < A_YEAR, "browsers ask for them again and again"),
                ("Content-Encoding" not in answer.headers, "they come without compression"),
            )
            if is_so
        ]
    if faults:
        yield Result("static", "wrong", "; ".join(faults), "collectstatic, then restart web")
    else:
        yield Result("static", "right", "pages' files are compressed and kept for good")


def phone(asked: Asked) -> Iterator[Result]:
    """Whether the web app for the racks is there, with the worker that keeps it."""
    with _client(asked) as client:
        answers = {path: client.get(path).status_code for path in ("/rackside/", "/rackside/sw.js")}
    if missing := [f"{path} answers {code}" for path, code in answers.items() if code != 200]:
        yield Result("phone", "wrong", "; ".join(missing), "unset RACKSIDE_ROOT, restart web")
    else:
        yield Result("phone", "right", "/rackside/ and its worker are there")
