"""Accounts: opening one, one's own profile, finding others."""

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher
from django.core.cache import cache
from tests.api.client import Api
from tests.world import PASSWORD, World

from scalewitness.letters.accounts import MOST_AN_HOUR
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.people.services import vouch

NEW = {"name": "Nora Quist", "email": "nora.quist@keepers.example", "password": PASSWORD}


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


def test_an_account_is_opened(nobody: Api) -> None:
    answer = nobody.post("/keepers", NEW)
    assert answer.status == 202
    assert answer.body == {"email": "nora.quist@keepers.example"}
    keeper = Keeper.objects.get(email=NEW["email"])
    assert keeper.check_password(PASSWORD)
    sent = {"email": NEW["email"], "password": PASSWORD, "name": "phone"}
    nobody.headers["Authorization"] = f"Bearer {nobody.post('/devices', sent).body['token']}"
    profile = nobody.get("/keepers/me").body
    assert (profile["id"], profile["email_verified"]) == (str(keeper.pk), False)


def test_an_address_has_one_account_however_it_is_written(nobody: Api) -> None:
    """And nobody learns whether there is one, but who reads the letters."""
    free = nobody.post("/keepers", NEW)
    taken = nobody.post(
        "/keepers", {"name": "A Cheat", "email": "Nora.Quist@Keepers.example", "password": "x" * 3}
    )
    assert taken.status == 422, "a weak password is told alike"
    cheat = {"name": "A Cheat", "email": "Nora.Quist@Keepers.example", "password": "another-one-9"}
    taken = nobody.post("/keepers", cheat)
    assert (taken.status, taken.body) == (free.status, free.body)
    assert free.headers.keys() == taken.headers.keys()
    keeper = Keeper.objects.get(email=NEW["email"])
    assert keeper.name == "Nora Quist"
    assert keeper.check_password(PASSWORD)
    kinds = list(Letter.objects.order_by("created_at").values_list("kind", flat=True))
    assert kinds == ["confirm_address", "account_exists"]


def test_an_address_that_is_taken_costs_a_hash_as_a_free_one_does(
    nobody: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    hashed: list[str] = []
    plain = MD5PasswordHasher.encode

    def encode(self: MD5PasswordHasher, password: str, salt: str) -> str:
        hashed.append(password)
        return plain(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", encode)
    for _ in range(2):
        assert nobody.post("/keepers", NEW).status == 202
    assert hashed == [PASSWORD, PASSWORD]


@pytest.mark.parametrize(
    "password",
    ["nora quist", "Nora-Quist1", "nora.quist", "keepers.example", "a" * 12, "snakesnake"],
)
def test_a_name_or_one_piece_again_and_again_is_no_password(nobody: Api, password: str) -> None:
    answer = nobody.post("/keepers", {**NEW, "password": password})
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/password")


def test_letters_to_an_address_that_anybody_may_name_are_few(nobody: Api) -> None:
    for _ in range(MOST_AN_HOUR + 4):
        assert nobody.post("/keepers", NEW).status == 202
    assert Letter.objects.filter(kind="account_exists").count() == MOST_AN_HOUR


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("email", "nora", "out_of_range"),
        ("email", "nora@keepers.example\nBcc: all@keepers.example", "out_of_range"),
        ("email", "", "out_of_range"),
        ("email", f"{'n' * 250}@keepers.example", "wrong_shape"),
        ("email", 5, "wrong_shape"),
        ("name", "", "wrong_shape"),
        ("name", "   ", "out_of_range"),
        ("name", "n" * 81, "wrong_shape"),
        ("name", "Nora\r\nBcc: all@keepers.example", "out_of_range"),
        ("name", "Nora\x00", "out_of_range"),
        ("name", "Nora \u202etsiuQ", "out_of_range"),
        ("name", "\u200b", "out_of_range"),
        ("password", "short", "out_of_range"),
        ("password", "password", "out_of_range"),
        ("password", "1" * 12, "out_of_range"),
        ("password", "x" * 201, "wrong_shape"),
    ],
)
def test_what_no_account_is_opened_on(nobody: Api, field: str, value: object, code: str) -> None:
    answer = nobody.post("/keepers", {**NEW, field: value})
    assert (answer.status, answer.code, answer.pointer) == (422, code, f"/{field}")
    assert not Keeper.objects.filter(email__startswith="nora").exists()


def test_a_name_is_kept_as_people_write_it(nobody: Api) -> None:
    nobody.post("/keepers", {**NEW, "name": "  Zoë Ó Faoláin 🐍 "})
    assert Keeper.objects.get(email=NEW["email"]).name == "Zoë Ó Faoláin 🐍"


def test_ones_own_profile(world: World, odile: Api) -> None:
    answer = odile.get("/keepers/me")
    assert (answer.status, answer.headers["ETag"]) == (200, '"v1"')
    assert answer.body["email"] == world.odile.email
    assert answer.body["email_verified"] is True


def test_a_name_is_changed_under_its_version(world: World, odile: Api) -> None:
    answer = odile.patch("/keepers/me", {"name": "Odile M."}, {"If-Match": '"v1"'})
    assert (answer.status, answer.headers["ETag"]) == (200, '"v2"')
    assert answer.body["name"] == "Odile M."
    world.odile.refresh_from_db()
    assert (world.odile.name, world.odile.version) == ("Odile M.", 2)


def test_a_keeper_is_found_by_the_address_they_verified(world: World, stan: Api) -> None:
    answer = stan.get("/keepers", email=world.greta.email)
    assert answer.status == 200
    assert answer.body == {"id": str(world.greta.pk), "name": "Greta Lund"}


def test_an_unverified_address_finds_nobody(nobody: Api, stan: Api) -> None:
    nobody.post("/keepers", NEW)
    answer = stan.get("/keepers", email=NEW["email"])
    assert (answer.status, answer.code) == (404, "not_found")
    vouch(NEW["email"])
    assert stan.get("/keepers", email=NEW["email"]).status == 200


@pytest.mark.parametrize("query", [{}, {"email": ""}, {"email": "greta"}, {"email": "a@b.c\x00"}])
def test_a_search_needs_one_whole_address(stan: Api, query: dict[str, str]) -> None:
    answer = stan.get("/keepers", **query)
    assert (answer.status, answer.code) == (400, "malformed")
    assert answer.body["parameter"] == "email"
