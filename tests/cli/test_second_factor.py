"""Signing in with the command where a second factor is set up."""

import re
import subprocess
from collections.abc import Iterator

import pytest
from tests.cli.rooms import Machine, Room
from tests.site_pages import Pages
from tests.waiting import ENOUGH, killed_at_the_end

pytestmark = pytest.mark.one_in(5)

FAST = 5.0
"""The page's answer is asked for every five seconds."""


@pytest.fixture
def odile(room: Room) -> Machine:
    return room.keeper("odile")


@pytest.fixture
def pages(room: Room, odile: Machine) -> Iterator[Pages]:
    """With an authenticator app set up."""
    odile.forget_throttles()
    with Pages(room.stack.url, odile.email) as pages:
        pages.sign_in()
        pages.set_up_an_app()
        odile.forget_throttles()
        yield pages


def asked(odile: Machine, *more: str) -> tuple[str, ...]:
    return ("sign-in", odile.url, "--device", "rack", "--no-log-key", "--json", *more)


def signed_in(odile: Machine) -> list[str]:
    return [one["name"] for one in odile.api.get("devices").json()["items"]]


def test_a_code_is_asked_for_and_a_wrong_one_asked_for_again(odile: Machine, pages: Pages) -> None:
    answer = odile.run(*asked(odile, "--email", odile.email), type=f"000000\n{pages.code()}\n")
    assert answer.status == 0, answer
    assert "Code of your authenticator app or recovery code" in answer.err
    assert answer.json["device_name"] == "rack"
    assert "rack" in signed_in(odile)
    odile.sync()


def test_a_recovery_code_does_too_and_may_stand_on_the_command_line(
    odile: Machine, pages: Pages
) -> None:
    code = pages.recovery[0]
    assert odile.run(*asked(odile, "--email", odile.email, "--code", code)).status == 0
    odile.run("sign-out")
    used = odile.run(*asked(odile, "--email", odile.email, "--code", code), type="1\n2\n")
    assert used.status == 1
    assert "wrong or was used already" in used.err
    assert "does not know this device" not in used.err


def test_a_wrong_password_is_not_told_apart(odile: Machine, pages: Pages) -> None:
    odile.more["SCALEWITNESS_PASSWORD"] = "not-that-one-either"
    answer = odile.run(*asked(odile, "--email", odile.email, "--code", pages.code()))
    assert answer.status == 1
    assert "Address or password is wrong" in answer.err


@pytest.mark.parametrize("way", ["page", "empty"])
@pytest.mark.some(1)
def test_it_is_confirmed_on_a_page(odile: Machine, pages: Pages, way: str) -> None:
    more = ("--page",) if way == "page" else ("--email", odile.email)
    odile.fast = FAST
    command = [*odile.command, *asked(odile, *more)]
    running = subprocess.Popen(
        command, cwd=odile.home, env=odile.env, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    with killed_at_the_end(running):
        assert running.stdin is not None
        assert running.stderr is not None
        if way == "empty":
            running.stdin.write("\n")
        running.stdin.close()
        code, told = "", ""
        while not (found := re.search(r"\b([B-Z]{4}-[B-Z]{4})\b", told)):
            told += running.stderr.readline() or pytest.fail(told)
        code = found[1]
        assert f"{odile.url}/devices/new" in told
        assert pages.let_in(code).is_redirect
        assert running.wait(timeout=ENOUGH) == 0
    assert "rack" in signed_in(odile)
    assert odile.well("sync")


def test_refused_on_the_page_it_ends_with_words(odile: Machine, pages: Pages) -> None:
    odile.fast = FAST
    command = [*odile.command, *asked(odile, "--page")]
    running = subprocess.Popen(
        command, cwd=odile.home, env=odile.env, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    with killed_at_the_end(running):
        assert running.stderr is not None
        told = ""
        while not (found := re.search(r"\b([B-Z]{4}-[B-Z]{4})\b", told)):
            told += running.stderr.readline() or pytest.fail(told)
        pages.let_in(found[1], "no")
        assert running.wait(timeout=ENOUGH) == 1
        assert "refused on the page" in running.stderr.read()
    assert "rack" not in signed_in(odile)
