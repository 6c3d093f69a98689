"""Guessing at passwords: one limit for pages and API, and nobody is locked out by others."""

import pytest
from django.core.cache import cache
from django.test import Client
from tests.world import PASSWORD, World

from scalewitness.guessing import FROM_ADDRESS, ON_ACCOUNT, ON_ACCOUNT_FROM_ADDRESS
from scalewitness.people.models import Keeper
from scalewitness.rate_limit import address_of, attempts, forget, noted, take_back

CHEAT, HOME = "203.0.113.5", "198.51.100.7"
PROXY = "192.0.2.80"
REFUSED, WRONG, IN = "refused", "wrong", "in"


@pytest.fixture(autouse=True)
def as_in_production(settings: object) -> None:
    """Behind one proxy, which speaks TLS to the world; nothing counted so far."""
    settings.TRUSTED_PROXIES = 1
    settings.SECURE_SSL_REDIRECT = settings.SESSION_COOKIE_SECURE = True
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    cache.clear()  # flushes the queue server of the tests


def headers(forwarded: str | None) -> dict[str, str]:
    seen = {} if forwarded is None else {"X-Forwarded-For": forwarded}
    return {"X-Forwarded-Proto": "https", **seen}


def by_page(email: str, password: str, forwarded: str | None) -> str:
    form = {"login": email, "password": password}
    answer = Client(REMOTE_ADDR=PROXY).post("/accounts/login/", form, headers=headers(forwarded))
    assert answer.status_code in {200, 302}, answer.content
    if answer.status_code == 302:
        return IN
    return REFUSED if "Too many failed attempts" in answer.content.decode() else WRONG


def by_api(email: str, password: str, forwarded: str | None) -> str:
    sent = {"email": email, "password": password, "name": "phone"}
    answer = Client(REMOTE_ADDR=PROXY).post(
        "/api/v1/devices", sent, content_type="application/json", headers=headers(forwarded)
    )
    if answer.status_code == 429:
        assert int(answer["Retry-After"]) >= 1
    return {201: IN, 401: WRONG, 429: REFUSED}[answer.status_code]


EDGES = pytest.mark.parametrize("sign_in", [by_page, by_api])
Edge = type(by_page)


@EDGES
def test_wrong_sign_ins_by_one_do_not_stop_another(world: World, sign_in: Edge) -> None:
    """They all come through one proxy, and at the very account the other wants to open."""
    got = [sign_in(world.odile.email, "a guess", CHEAT) for _ in range(25)]
    assert got == [WRONG] * FROM_ADDRESS.most + [REFUSED] * (25 - FROM_ADDRESS.most)
    assert sign_in(world.odile.email, PASSWORD, CHEAT) == REFUSED, "not even the right one"
    assert sign_in(world.odile.email, PASSWORD, HOME) == IN
    assert sign_in(world.greta.email, PASSWORD, HOME) == IN


@EDGES
def test_a_forged_hop_makes_no_other_address(world: World, sign_in: Edge) -> None:
    forged = [f"10.9.8.{n}, {CHEAT}" for n in range(FROM_ADDRESS.most + 1)]
    assert sign_in(world.odile.email, "a guess", forged[0]) == WRONG
    got = [sign_in(world.odile.email, "a guess", one) for one in forged]
    assert got[-1] == REFUSED


@EDGES
def test_a_missing_header_is_no_fault(world: World, sign_in: Edge) -> None:
    assert sign_in(world.odile.email, PASSWORD, None) == IN
    assert sign_in(world.odile.email, PASSWORD, "") == IN
    assert sign_in(world.odile.email, PASSWORD, "not an address") == IN


def test_two_proxies_and_one_name_are_no_fault(world: World, settings: object) -> None:
    settings.TRUSTED_PROXIES = 2
    assert by_page(world.odile.email, PASSWORD, HOME) == IN
    assert by_api(world.odile.email, PASSWORD, HOME) == IN


def test_pages_and_api_count_together(world: World) -> None:
    for _ in range(FROM_ADDRESS.most // 2):
        assert by_page(world.odile.email, "a guess", CHEAT) == WRONG
        assert by_api(world.odile.email, "a guess", CHEAT) == WRONG
    assert by_page(world.odile.email, "a guess", CHEAT) == REFUSED
    assert by_api(world.odile.email, "a guess", CHEAT) == REFUSED


def guess_from_everywhere(keeper: Keeper, how_many: int) -> list[str]:
    """Each guess from an address that never guessed before."""
    return [by_api(keeper.email, "a guess", f"203.0.{n // 200}.{n % 200}") for n in range(how_many)]


def test_guessing_from_everywhere_ends_but_not_for_the_keeper(world: World) -> None:
    assert by_page(world.odile.email, PASSWORD, HOME) == IN
    got = guess_from_everywhere(world.odile, ON_ACCOUNT.most + 1)
    assert got == [WRONG] * ON_ACCOUNT.most + [REFUSED]
    assert by_page(world.odile.email, PASSWORD, "198.51.100.99") == REFUSED, "never seen before"
    assert by_page(world.odile.email, PASSWORD, HOME) == IN
    assert by_api(world.odile.email, PASSWORD, HOME) == IN
    assert by_api(world.greta.email, PASSWORD, "198.51.100.99") == IN


@EDGES
def test_signing_in_rightly_is_never_too_often(world: World, sign_in: Edge) -> None:
    """Thirty people at one club night, behind one router: allauth's flood limit stands."""
    assert {sign_in(world.odile.email, PASSWORD, HOME) for _ in range(25)} == {IN}


def test_a_flood_of_forms_from_one_address_gets_a_page_that_says_so(world: World) -> None:
    form = {"login": "nobody@keepers.example", "password": "a guess"}
    for _ in range(31):
        last = Client(REMOTE_ADDR=PROXY).post("/accounts/login/", form, headers=headers(CHEAT))
    assert last.status_code == 429
    assert "That was too often" in last.content.decode()


def test_one_address_cannot_use_up_an_accounts_count() -> None:
    tries_an_hour = ON_ACCOUNT_FROM_ADDRESS.most * 3600 // ON_ACCOUNT_FROM_ADDRESS.seconds
    assert tries_an_hour * ON_ACCOUNT.seconds // 3600 < ON_ACCOUNT.most / 2


@EDGES
def test_without_the_queue_server_there_is_a_limit_and_no_fault(
    world: World, sign_in: Edge, without_queue: None
) -> None:
    assert sign_in(world.odile.email, PASSWORD, HOME) == IN
    got = [sign_in(world.odile.email, "a guess", CHEAT) for _ in range(FROM_ADDRESS.most + 1)]
    assert got == [WRONG] * FROM_ADDRESS.most + [REFUSED]
    assert sign_in(world.odile.email, PASSWORD, HOME) == IN


@pytest.mark.parametrize("queue", ["there", "away"])
def test_counts_and_notes_are_kept_there_or_here(
    queue: str, request: pytest.FixtureRequest
) -> None:
    if queue == "away":
        request.getfixturevalue("without_queue")
    forget("k", "n")
    assert [attempts("k", 60) for _ in range(3)] == [1, 2, 3]
    take_back("k", 60)
    assert attempts("k", 60) == 3
    forget("k")
    take_back("k", 60)
    assert attempts("k", 60) == 0, "taken back before it was counted"
    assert not noted("n")


@pytest.mark.parametrize(
    ("seen", "counted"),
    [
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),
        ("2001:db8:1:2:ffff::1", "2001:db8:1:2::"),
        ("198.51.100.7", "198.51.100.7"),
        ("198.51.100.7:50124", "198.51.100.7"),
        ("[2001:db8:1:2::1]:50124", "2001:db8:1:2::"),
        ("not an address", "unknown"),
    ],
)
def test_one_customers_network_is_one_address(seen: str, counted: str, rf: object) -> None:
    assert address_of(rf.get("/", headers=headers(seen))) == counted
