"""Which records a machine knows: only those that somebody signed in at."""

from collections.abc import Iterator

import pytest
from tests.cli.meddler import Meddler, a_sign_in_page, cut_the_request, meddling, saying
from tests.cli.rooms import Machine, Room, new_animal

pytestmark = pytest.mark.one_in(5)

NOWHERE = "http://127.0.0.1:1"
FAST = 10.0
"""A sign-in is tried for ten seconds."""


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    made = room.at_work("odile")
    made.fast = FAST
    return made


@pytest.fixture(scope="module")
def meddler(room: Room) -> Iterator[Meddler]:
    with meddling(room.stack.url) as made:
        yield made


def folders(machine: Machine) -> int:
    return len(list((machine.home / ".local/share/scalewitness/servers").glob("*")))


@pytest.mark.parametrize("url", [NOWHERE, "127.0.0.1:1", "ftp://127.0.0.1", "record.example", ""])
def test_a_mistyped_sign_in_leaves_nothing(odile: Machine, url: str) -> None:
    answer = odile.run("sign-in", url, "--email", odile.email, "--no-log-key")
    assert answer.status == (3 if url == NOWHERE else 2)
    assert "stored here" not in answer.err
    assert folders(odile) == 1
    assert odile.well("show") is not None


def test_a_sign_in_that_comes_to_nothing_leaves_nothing(
    room: Room, odile: Machine, meddler: Meddler
) -> None:
    room.forget_throttles()
    tricks = (saying(401, "wrong_credentials"), cut_the_request, a_sign_in_page)
    for trick in tricks:
        meddler.play("/devices", *[trick] * 12)
        answer = odile.run("sign-in", meddler.url, "--email", odile.email, "--no-log-key")
        meddler.tricks.clear()
        assert answer.status in {1, 3}
        assert folders(odile) == 1
    assert odile.run("show").status == 0


def test_a_server_that_goes_away_once_signed_in_is_told_of_as_that(
    room: Room, meddler: Meddler
) -> None:
    pim = room.keeper("pim", meddler.url)
    pim.fast = FAST
    room.forget_throttles()
    meddler.play("/key", *[cut_the_request] * 12)
    answer = pim.run("sign-in", pim.url, "--email", pim.email, "--no-log-key", "--device", "rack")
    meddler.tricks.clear()
    assert answer.status == 1
    assert "Signed in all the same" in answer.err
    assert "Nobody was signed in" not in answer.err
    assert pim.sync()["sent"] == 0


def test_a_server_named_that_nobody_is_signed_in_at_leaves_nothing(odile: Machine) -> None:
    odile.more["SCALEWITNESS_SERVER"] = NOWHERE
    try:
        answer = odile.run("show")
    finally:
        odile.more.clear()
    assert answer.status == 2
    assert "Nobody is signed in at" in answer.err
    assert odile.url in answer.err
    assert folders(odile) == 1


def test_servers_are_listed_and_one_with_something_unsent_is_forgotten_on_a_yes_only(
    room: Room, odile: Machine, meddler: Meddler
) -> None:
    second = room.second_machine(odile)
    second.sign_in()
    second.url = meddler.url
    second.sign_in()
    assert second.run("show").status == 2, "it must be said which"
    first, other = odile.url, meddler.url
    assert {one["server"]: one["signed_in"] for one in second.well("servers")} == {
        first: True,
        other: True,
    }
    new_animal(odile, "V1")
    second.well("sync", "--server", other)
    second.check("V1", "--server", other)
    refused = second.run("servers", "--forget", other, type="n\n")
    assert refused.status == 1
    assert "A call by probing" in refused.err
    assert len(second.well("servers")) == 2
    said = second.well("servers", "--forget", other, "--yes")
    assert said == {"forgotten": other, "device_revoked": True}
    assert second.well("show") == []
    assert second.run("servers", "--forget", other).status == 1


def test_forgetting_one_without_anything_to_lose_asks_nothing(room: Room) -> None:
    pim = room.keeper("pim")
    pim.sign_in()
    assert pim.well("servers", "--forget", pim.url)["device_revoked"]
    assert pim.well("servers") == []
    assert "Nobody is signed in" in pim.run("show").err
