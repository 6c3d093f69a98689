"""The queue server is gone, or there and does not answer: letters are late, and nothing else."""

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from statistics import median
from typing import Any

import httpx
import pytest
from tests.deploy.test_supervisor import running_pids
from tests.journeys.running import Web, running_web
from tests.plugins.services import Services
from tests.stacks import database_for
from tests.waiting import ENOUGH, eventually
from tests.world import PASSWORD

SOON = 1.5
"""Seconds; less than the two for which a queue server is waited for. Beyond what the same takes
where it answers, so that other work of the machine counts on both sides."""


@pytest.fixture(scope="module")
def web(
    services: Services, untouched_database: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Web]:
    with (
        database_for(services, untouched_database, "away") as database,
        running_web(tmp_path_factory.mktemp("away"), database) as running,
    ):
        yield running


@contextmanager
def stopped(web: Web) -> Iterator[None]:
    web.stack.supervisor.end("valkey")
    yield
    web.stack.start_queue()


@contextmanager
def frozen(web: Web) -> Iterator[None]:
    """Its end of each line is there, and nothing comes."""
    pid = running_pids(web.stack.supervisor.folder)["valkey"]
    os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(pid, signal.SIGCONT)


AWAY = (stopped, frozen)


@pytest.mark.parametrize("away", AWAY)
@pytest.mark.some(1)
def test_signing_in_pushing_and_readiness_go_on(web: Web, away: Any) -> None:
    with away(web):
        assert sign_in(web) == 302
        assert web.push().status_code == 200
        with web.client() as client:
            ready = client.get(f"{web.stack.url}/health/ready")
        assert (ready.status_code, ready.json()["broker"]) == (200, "unreachable")
        assert web.read("/health/live") == 200
    eventually(lambda: broker(web) == "ok", "the queue server to be used again")


@pytest.mark.long(
    "forty pushes, beside twenty that are not hindered; "
    "tests/journeys/test_queue_away.py::test_signing_in_pushing_and_readiness_go_on"
)
def test_a_silent_one_is_waited_for_once_and_not_by_everyone(web: Web) -> None:
    """Of two web processes each finds out for itself, and again after some seconds."""
    usual = median(timed(web.push) for _ in range(20))
    with frozen(web):
        enrol(web)  # a letter is owed for it, and the worker woken
        assert median(timed(web.push) for _ in range(20)) < usual + SOON


def sign_in(web: Web) -> int:
    """By the page, as a person does."""
    with httpx.Client(base_url=web.stack.url, timeout=ENOUGH) as browser:
        browser.get("/accounts/login/").raise_for_status()
        token = browser.cookies["csrftoken"]
        form = {"login": web.email, "password": PASSWORD, "csrfmiddlewaretoken": token}
        return browser.post("/accounts/login/", data=form).status_code


def enrol(web: Web) -> None:
    with httpx.Client(base_url=web.api, timeout=ENOUGH) as anyone:
        device = {"email": web.email, "password": PASSWORD, "name": "laptop"}
        anyone.post("devices", json=device).raise_for_status()


def broker(web: Web) -> str:
    with web.client() as client:
        return str(client.get(f"{web.stack.url}/health/ready").json()["broker"])


def timed(act: Callable[[], object]) -> float:
    began = time.monotonic()
    act()
    return time.monotonic() - began
