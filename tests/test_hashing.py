"""Passwords are hashed by Argon2, a few at a time."""

from threading import Barrier, Lock, Thread

import pytest
from django.contrib.auth.hashers import (
    Argon2PasswordHasher,
    PBKDF2PasswordHasher,
    check_password,
    make_password,
)
from django.core.cache import cache
from django.test import Client
from tests.world import PASSWORD, World

from scalewitness import hashing
from scalewitness import settings as ours
from scalewitness.guessing import FROM_ADDRESS

MANY = 8


@pytest.fixture(autouse=True)
def as_in_production(settings: object) -> None:
    settings.PASSWORD_HASHERS = ours.PASSWORD_HASHERS
    cache.clear()


@pytest.fixture
def every_place_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hashing, "TIMEOUT", 0.01)
    for _ in range(ours.HASHES_AT_ONCE):
        assert hashing.places.acquire(blocking=False)


@pytest.fixture(autouse=True)
def places_given_back() -> object:
    yield
    while True:
        try:
            hashing.places.release()
        except ValueError:
            return


def test_an_old_hash_is_made_anew_at_sign_in(world: World) -> None:
    world.odile.password = PBKDF2PasswordHasher().encode(PASSWORD, "salt", 1000)
    world.odile.save()
    sent = {"email": world.odile.email, "password": PASSWORD, "name": "phone"}
    answer = Client().post("/api/v1/devices", sent, content_type="application/json")
    assert answer.status_code == 201
    world.odile.refresh_from_db()
    assert world.odile.password.startswith("argon2$argon2id$v=19$m=19456,t=2,p=1$")
    assert check_password(PASSWORD, world.odile.password)


def test_only_a_few_are_hashed_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    at_once, most, count = 0, 0, Lock()
    all_here = Barrier(MANY)
    plain = Argon2PasswordHasher.encode

    def counted(self: Argon2PasswordHasher, password: str, salt: str) -> str:
        nonlocal at_once, most
        with count:
            at_once += 1
            most = max(most, at_once)
        made = plain(self, password, salt)
        with count:
            at_once -= 1
        return made

    def hash_one() -> None:
        all_here.wait()
        make_password(PASSWORD)

    monkeypatch.setattr(Argon2PasswordHasher, "encode", counted)
    monkeypatch.setattr(hashing, "TIMEOUT", 60.0)
    threads = [Thread(target=hash_one) for _ in range(MANY)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert 1 <= most <= ours.HASHES_AT_ONCE


@pytest.mark.parametrize(
    ("path", "sent"),
    [
        ("/accounts/login/", {"login": "odile.marten@keepers.example", "password": PASSWORD}),
        ("/accounts/login/", {"login": "nobody@keepers.example", "password": PASSWORD}),
        (
            "/accounts/signup/",
            {"name": "Rosa Vale", "email": "rosa@keepers.example", "password1": PASSWORD},
        ),
    ],
)
def test_a_page_says_to_come_again_when_all_places_are_taken(
    world: World, every_place_taken: None, path: str, sent: dict[str, str]
) -> None:
    answer = Client().post(path, sent)
    assert answer.status_code == 503
    assert int(answer["Retry-After"]) >= 1
    assert answer["Content-Type"].startswith("text/html")


@pytest.mark.parametrize(
    ("path", "sent"),
    [
        ("devices", {"email": "odile.marten@keepers.example", "password": PASSWORD, "name": "x"}),
        ("devices", {"email": "nobody@keepers.example", "password": PASSWORD, "name": "x"}),
        ("keepers", {"email": "rosa@keepers.example", "password": PASSWORD, "name": "Rosa Vale"}),
        ("keepers", {"email": "odile.marten@keepers.example", "password": PASSWORD, "name": "O"}),
    ],
)
def test_the_api_says_to_come_again_when_all_places_are_taken(
    world: World, every_place_taken: None, path: str, sent: dict[str, str]
) -> None:
    answer = Client().post(f"/api/v1/{path}", sent, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (503, "busy")
    assert int(answer["Retry-After"]) >= 1


def test_a_password_that_was_not_looked_at_is_no_wrong_try(
    world: World, every_place_taken: None
) -> None:
    sent = {"login": world.odile.email, "password": PASSWORD}
    for _ in range(FROM_ADDRESS.most + 1):
        assert Client().post("/accounts/login/", sent).status_code == 503
    for _ in range(ours.HASHES_AT_ONCE):
        hashing.places.release()
    world.odile.set_password(PASSWORD)  # told before hashes were those of production
    world.odile.save()
    assert Client().post("/accounts/login/", sent).status_code == 302
