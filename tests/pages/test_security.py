"""Attacks on the doors: guessed links, foreign hosts, redirects that lead away, and what
Django's own check of a deployment finds. (Links replayed after they were revoked:
`test_buyer`; headers and HTML in letters: `tests/mail`; PDFs: `test_papers`; strangers at
every page: `test_who_sees_what`.)"""

import os
import secrets
import subprocess
import sys

import pytest
from django.core.cache import cache
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness import guessing
from scalewitness.guessing import Limit
from stack.local import ROOT

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


def test_guessing_links_is_slowed_down_and_a_right_one_still_opens(
    here: Here, anyone: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guessing, "WRONG_LINKS", Limit(5, 60))
    animal = here.verified("G-1")
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    right = f"/offers/{here.token(sale)}"
    wrong = [anyone.client.get(f"{right[:-6]}{n:06}") for n in range(8)]
    assert [one.status_code for one in wrong] == [404] * 5 + [429] * 3
    assert wrong[-1]["Retry-After"] == "60"
    assert wrong[0].content == wrong[-1].content, "nothing is told by being refused"
    assert anyone.client.get(right).status_code == 200
    elsewhere = anyone.client.get("/offers/x:y", REMOTE_ADDR="192.0.2.7")
    assert elsewhere.status_code == 404, "others are not slowed down"


def test_one_cannot_be_counted_anew_by_naming_another_address(
    anyone: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guessing, "WRONG_LINKS", Limit(2, 60))
    found = [
        anyone.client.get("/offers/x:y", headers={"X-Forwarded-For": f"192.0.2.{n}, 198.51.100.1"})
        for n in range(4)
    ]
    assert found[-1].status_code == 429


@pytest.mark.parametrize("path", ["/", "/about", "/api/v1/health/live", "/accounts/login/"])
def test_a_foreign_host_is_refused(anyone: Browser, path: str) -> None:
    for host in ("evil.example", "testserver.evil.example", "testserver:80@evil.example"):
        assert anyone.client.get(path, headers={"Host": host}).status_code == 400


@pytest.mark.parametrize(
    "away", ["https://evil.example/", "//evil.example/", "/\\evil.example", "javascript:alert(1)"]
)
def test_signing_in_leads_nowhere_else(here: Here, anyone: Browser, away: str) -> None:
    from tests.world import PASSWORD

    sent = anyone.client.post(
        "/accounts/login/",
        {"login": here.odile.email, "password": PASSWORD, "next": away},
    )
    assert sent.status_code == 302
    assert "evil" not in sent["Location"]
    assert "javascript" not in sent["Location"]


def test_every_answer_forbids_what_no_page_needs(here: Here, anyone: Browser) -> None:
    sale = here.draft(here.verified("G-2"))
    here.offer(sale)
    here.now_is_now()
    for path in ("/about", "/accounts/login/", f"/offers/{here.token(sale)}", "/offers/x:y"):
        answer = anyone.client.get(path)
        policy = answer["Content-Security-Policy"]
        assert "unsafe" not in policy, path
        for rule in ("frame-ancestors 'none'", "object-src 'none'", "base-uri", "form-action"):
            assert rule in policy, (path, rule)
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["X-Frame-Options"] == "DENY"
        assert answer["Referrer-Policy"] in {"same-origin", "no-referrer"}


DEPLOYED = """
import django
django.setup()
from django.test import Client
print(Client().get("/health/live", secure=True).headers.get("Strict-Transport-Security"))
"""

ANOTHER = pytest.mark.long(
    "starts Django for another number; "
    "tests/pages/test_security.py::test_only_the_operator_binds_other_hosts_to_tls"
)


@pytest.mark.parametrize(
    ("chosen", "header"),
    [
        ({}, "max-age=3600"),
        pytest.param({"SECURE_HSTS_SECONDS": "31536000"}, "max-age=31536000", marks=ANOTHER),
        pytest.param(
            {"SECURE_HSTS_INCLUDE_SUBDOMAINS": "1", "SECURE_HSTS_PRELOAD": "1"},
            "max-age=3600; includeSubDomains; preload",
            marks=ANOTHER,
        ),
        pytest.param({"SECURE_HSTS_SECONDS": "0"}, "None", marks=ANOTHER),
        pytest.param({"DEMO": "1"}, "None", marks=ANOTHER),
    ],
)
def test_only_the_operator_binds_other_hosts_to_tls(chosen: dict[str, str], header: str) -> None:
    environment = deployed() | {"DJANGO_SETTINGS_MODULE": "scalewitness.settings"} | chosen
    environment["ALLOWED_HOSTS"] = "testserver"
    found = subprocess.run(  # noqa: S603
        [sys.executable, "-c", DEPLOYED],
        env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert found.stdout.strip() == header, found.stderr


def test_a_token_that_could_be_guessed_is_none() -> None:
    environment = deployed() | {"METRICS_TOKEN": "prometheus"}
    found = subprocess.run(
        [sys.executable, "-m", "scalewitness", "check"],
        env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert found.returncode != 0
    assert "METRICS_TOKEN" in found.stderr


def deployed() -> dict[str, str]:
    """What a deployment has in its environment."""
    return {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": str(ROOT / "server"),
        "SECRET_KEY": secrets.token_urlsafe(60),
        "PUBLIC_URL": "https://record.example",
        "ALLOWED_HOSTS": "record.example",
        "DATABASE_URL": "postgres://u:p@127.0.0.1:1/x",
        "REDIS_URL": "redis://127.0.0.1:1",
        "LOG_SIGNING_KEY": os.environ["LOG_SIGNING_KEY"],
        "LOG_MAP_KEY": os.environ["LOG_MAP_KEY"],
    }


CHECK = """import os, sys, django
from django.core.management.commands.check import Command
os.environ["DJANGO_SETTINGS_MODULE"] = "scalewitness.settings"
django.setup()
Command().run_from_argv(["", "check", *sys.argv[1:]])"""
"""Django's own: the project's command of that name looks at a live service."""


def test_djangos_check_of_a_deployment_is_clean() -> None:
    environment = deployed()
    found = subprocess.run(  # noqa: S603
        [sys.executable, "-c", CHECK, "--deploy", "--fail-level", "WARNING"],
        env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert found.returncode == 0, found.stderr
    assert "no issues" in found.stdout
