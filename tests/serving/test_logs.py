"""Whoever holds a link's token is the buyer: no log may."""

import json
import logging
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from urllib.parse import quote
from uuid import uuid4

import pytest
import structlog
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.utils.log import log_response
from structlog.stdlib import ProcessorFormatter
from tests.addresses import secret_addresses
from tests.plugins.bounded import bounded
from tests.waiting import ENOUGH

from scalewitness.domain.masking import MASK, masked
from scalewitness.mail.services.links import link_token, sign_out_token
from scalewitness.people.models import Keeper
from scalewitness.serving.logs import json_lines
from stack.local import ROOT

SECRET = "NotByItsShape"
ADDRESSES = secret_addresses(SECRET)


def test_every_kind_of_secret_address_is_known() -> None:
    for part in ("/offers/", "/api/v1/offers/", "/sign-out/", "/confirm-email/", "/reset/key/"):
        assert any(part in one for one in ADDRESSES), part


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_line_holds_the_secret_of_an_address(address: str) -> None:
    for line in (
        f"Not Found: {address}",
        f'"GET {address}?page=2 HTTP/1.1" 404',
        f"https://record.example{address}",
        f"/accounts/login/?next={address}",
        f"/accounts/login/?next={quote(address, safe='')}",
        f"?next={quote(quote(address, safe=''), safe='')}&page=2",
        f"Referer: http://127.0.0.1:8000{address}",
    ):
        assert SECRET not in masked(line), line
        assert MASK in masked(line)


@pytest.mark.parametrize("address", ADDRESSES)
def test_nginx_masks_them_as_its_sample_is_written(address: str) -> None:
    """Its map is looked for in the decoded address; the first rule that fits counts."""
    text = (ROOT / "deploy/proxy/nginx.conf").read_text()
    rules = re.findall(r'^ +"~(.+)" (\S+);$', text, re.MULTILINE)
    assert rules
    for prefix in ("", "/offers/x/offers"):
        found = next(
            (
                re.sub(r"\$(\w+?)(?=\W|$)", lambda name, at=at: at[name[1]] or "", value)  # type: ignore[misc]
                for rule, value in rules
                if (at := re.match(rule.replace("(?<", "(?P<"), prefix + address))
            ),
            address,
        )
        assert SECRET not in found, (address, found)
        assert "***" in found
    assert "$request_uri" not in text.replace("return 301 https://$server_name$request_uri", "")
    assert "$request " not in text
    assert "$http_referer" not in text
    assert "$args" not in text
    assert text.count("access_log ") == text.count("error_log ") == text.count("server {")


def test_what_is_signed_is_known_wherever_it_stands() -> None:
    keeper = Keeper(pk=uuid4(), email="maren@oskarby.example")
    reset = PasswordResetTokenGenerator().make_token(keeper)
    for secret in (link_token(uuid4()), sign_out_token(uuid4()), f"1a2b3c-{reset}"):
        for line in (f"arguments '('{secret}',)' not found", f"key={quote(secret)}", secret):
            assert secret not in masked(line)
            assert quote(secret) not in masked(line)
            assert secret[-32:] not in masked(line)


@pytest.mark.parametrize(
    "line",
    [
        "Not Found: /api/v1/animals/01a2153e-0715-7e46-a419-481817e81a97",
        "100% sure",
        "/animals?page=2&q=Nettle",
        "sha256 e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "2026-11-29T01:02:03.456789Z letter 01a2153e-0715-7e46-a419-481817e81a97 sent",
        "/offers/",
        "/accounts/password/reset/",
    ],
)
def test_other_lines_stay_as_they_are(line: str) -> None:
    assert masked(line) == line


def test_names_in_a_query() -> None:
    line = "/x?token=abc&page=2&key=def&code=123456&email=maren%40oskarby.example"
    assert masked(line) == "/x?token=***&page=2&key=***&code=***&email=***"
    assert masked("Authorization: Bearer 0123abc") == "Authorization: Bearer ***"


def test_a_long_line_is_masked_quickly() -> None:
    for line in ("a" * 300_000, "a:" * 150_000, "/offers/" * 40_000, "a-" * 150_000, "?" * 300_000):
        with bounded("masking", seconds=ENOUGH):  # hours where it takes time by the square
            masked(line)


def test_letters_and_machines_have_no_address_in_a_line() -> None:
    for line, left in {
        "SMTPRecipientsRefused({'maren@oskarby.example': (550, b'no')})": "*** (550, b'no')",
        "Invalid request from ip=203.0.113.7: bad": "ip=***: bad",
        "[2001:db8::17]:443 hung up": "[***]:443 hung up",
        "::ffff:203.0.113.7 came": "***",
        'redis://:hunter2@queue.example:6379 is away; "redis://u:p@h/0"': "redis://***@queue.example",
        "duplicate key\nDETAIL:  Key (name)=(Odile Oskarby) already exists.\nx": "duplicate key\n",
    }.items():
        found = masked(line)
        for gone in ("maren", "203.0", "db8", "hunter2", "u:p", "Odile"):
            assert gone not in found
        assert all(part in found for part in left.split())
    for line in ("http://127.0.0.1:8000 [::1]:5432", "at 12:34:56.789", "Python 3.11.2", "a:b:c"):
        assert masked(line) == line


@contextmanager
def written_down() -> Iterator[StringIO]:
    """What the configured handler writes meanwhile."""
    (handler,) = (
        one for one in logging.getLogger().handlers if isinstance(one.formatter, ProcessorFormatter)
    )
    assert isinstance(handler, logging.StreamHandler)
    before = handler.setStream(written := StringIO())
    try:
        yield written
    finally:
        handler.setStream(before or sys.stderr)


def test_every_line_is_json_and_masked_with_its_traceback(db: None) -> None:
    """A library's, a warning's, and our own; also where a text would end the line or the JSON."""
    token = link_token(uuid4())
    with written_down() as written:
        try:
            raise ValueError(f'/offers/{token}"\n\u2028{{"level": "forged"}}')
        except ValueError:
            logging.getLogger("a.library").exception("at %s", f"/offers/{token}")
            structlog.get_logger().warning(
                "letter", to=f"https://x.example/offers/{token}", of=uuid4(), exc_info=True
            )
        logging.getLogger("py.warnings").warning("%s", "maren@oskarby.example")
    text = written.getvalue()
    lines = [json.loads(line) for line in text.splitlines()]
    assert [one["logger"] for one in lines] == ["a.library", __name__, "py.warnings"]
    assert all({"event", "level", "timestamp"} <= set(one) for one in lines)
    assert all(one["exception"][0]["exc_type"] == "ValueError" for one in lines[:2])
    for secret in (token, token[-40:], "maren", "locals"):
        assert secret not in text


def test_a_line_is_short_enough_for_the_journal() -> None:
    line = json_lines().format(logging.LogRecord("x", 40, "", 0, "y" * 300_000, (), None))
    assert len(line) < 48 * 1024


def test_what_django_writes_of_a_refusal_names_no_address(db: None) -> None:
    """Neither a secret nor an animal's id, by which its keeper could be followed."""
    client = Client()
    with written_down() as written:
        for address in ADDRESSES:
            client.get(address)
            client.post(address)
        client.get("/", headers={"Host": "no such host"})
        assert written.getvalue() == ""
        request = RequestFactory().get(f"/animals/{uuid4()}")
        log_response("Failed: %s", request.path, request=request, response=HttpResponse(status=500))
    assert json.loads(written.getvalue())["event"] == "Failed: ***"


def test_what_nobody_caught_is_a_line_too(tmp_path: Path) -> None:
    """Of a process of its own, and of one of its threads."""
    script = tmp_path / "fails.py"
    script.write_text(
        "import threading, warnings\n"
        "from logging.config import dictConfig\n"
        "from scalewitness.serving.logs import log_what_nobody_caught\n"
        "from scalewitness.settings.monitoring import LOGGING\n"
        "dictConfig(LOGGING); log_what_nobody_caught()\n"
        "one = threading.Thread(target=lambda: 1 / 0); one.start(); one.join()\n"
        "warnings.warn('old')\n"
        "raise KeyError('maren@oskarby.example')\n"
    )
    ended = subprocess.run(  # noqa: S603  it is written above
        [sys.executable, script], capture_output=True, text=True, check=False
    )
    lines = [json.loads(line) for line in ended.stderr.splitlines()]
    assert ended.returncode == 1
    assert [one["level"] for one in lines] == ["error", "warning", "critical"]
    assert "maren" not in ended.stderr
