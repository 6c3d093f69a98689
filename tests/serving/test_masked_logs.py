"""Whoever holds a link's token is the buyer: no log may."""

import json
import logging
import re
import sys
from io import StringIO
from urllib.parse import quote
from uuid import uuid4

import pytest
import structlog
from django.conf import settings as configured
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.test import Client
from tests.addresses import secret_addresses
from tests.plugins.bounded import bounded
from tests.waiting import ENOUGH

from scalewitness.domain.masking import MASK, masked
from scalewitness.mail.services.links import link_token, sign_out_token
from scalewitness.people.models import Keeper
from scalewitness.serving.masked_logs import MaskedFormatter
from scalewitness.serving.web_server import _path
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
def test_letters_sent_as_numbers_hide_nothing_from_the_mask(address: str) -> None:
    sent = address.replace("o", "%6f").replace("e", "%65").replace("s", "%73")
    assert SECRET not in _path(sent + "?token=x")


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


def test_a_traceback_is_masked_too() -> None:
    token = link_token(uuid4())
    written = StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(MaskedFormatter())
    try:
        raise ValueError(f"Reverse for 'offer' with arguments '('{token}',)' not found.")
    except ValueError:
        handler.handle(
            logging.LogRecord("x", 40, "", 0, "at %s", (f"/offers/{token}",), sys.exc_info())
        )
    assert "ValueError" in written.getvalue()
    assert token not in written.getvalue()


def test_our_own_events_are_masked_and_name_no_variables(
    capsys: pytest.CaptureFixture[str],
) -> None:
    token = link_token(uuid4())
    try:
        raise ValueError(f"/offers/{token}")
    except ValueError:
        structlog.get_logger().warning(
            "letter", to=f"https://x.example/offers/{token}", exc_info=True
        )
    written = capsys.readouterr().out
    assert token not in written
    assert json.loads(written)["event"] == "letter"
    assert "locals" not in written


def test_the_handler_that_writes_the_log_masks_it(
    db: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """Through the configured handler, with what Django itself writes of a refusal."""
    assert configured.LOGGING["handlers"]["console"]["formatter"] == "masked"
    ours = [
        one for one in logging.getLogger().handlers if isinstance(one.formatter, MaskedFormatter)
    ]
    assert len(ours) == 1
    handler = ours[0]
    assert isinstance(handler, logging.StreamHandler)
    before = handler.setStream(written := StringIO())
    try:
        for address in ADDRESSES:
            Client().get(address)
            Client().post(address)
    finally:
        handler.setStream(before or sys.stderr)
    assert "/offers/***" in written.getvalue()
    assert SECRET not in written.getvalue()
