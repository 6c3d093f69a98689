"""How often someone may try."""

from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings as configured
from django.test import Client
from redis import Redis
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.api.test_offers import way_in
from tests.waiting import eventually
from tests.world import World

from scalewitness import guessing
from scalewitness.api.throttling import Feed, LookUp, Pushing, SignIn, SignUp, WitnessRate
from scalewitness.guessing import FROM_ADDRESS, WRONG_LINKS
from scalewitness.ledger.models import Entry
from scalewitness.rate_limit import attempts

pytestmark = pytest.mark.one_in(4)


def allowed(scope: str) -> int:
    return int(configured.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"][scope].split("/")[0])


def test_guessing_at_passwords_is_slowed(world: World, nobody: Api) -> None:
    sent = {"email": world.odile.email, "password": "a guess", "name": "phone"}
    codes = [nobody.post("/devices", sent).code for _ in range(FROM_ADDRESS.most)]
    assert set(codes) == {"wrong_credentials"}
    answer = nobody.post("/devices", sent)
    assert (answer.status, answer.code) == (429, "throttled")
    assert 1 <= int(answer.headers["Retry-After"]) <= 61


def test_another_address_is_counted_for_itself(world: World, nobody: Api) -> None:
    sent = {"email": world.odile.email, "password": "a guess", "name": "phone"}
    for _ in range(FROM_ADDRESS.most + 1):
        last = nobody.post("/devices", sent)
    assert last.status == 429
    assert Api().post("/devices", sent).status == 401


def test_a_header_does_not_make_another_address(world: World, nobody: Api) -> None:
    """X-Forwarded-For counts only as far as proxies are trusted; here there is none."""
    sent = {"email": world.odile.email, "password": "a guess", "name": "phone"}
    for n in range(FROM_ADDRESS.most + 1):
        last = nobody.post("/devices", sent, {"X-Forwarded-For": f"192.0.2.{n}"})
    assert last.status == 429


def test_guessing_at_links_is_slowed(nobody: Api) -> None:
    codes = [nobody.get("/offers/guess").code for _ in range(WRONG_LINKS.most)]
    assert set(codes) == {"link_gone"}
    answer = nobody.post("/offers/guess/refusal")
    assert (answer.status, answer.code) == (429, "throttled")
    assert "Retry-After" in answer.headers
    assert Client(REMOTE_ADDR=nobody.address).get("/offers/guess").status_code == 429, (
        "on pages too, by one count"
    )


def test_whoever_guesses_keeps_nobody_out_who_has_the_right_link(
    world: World, nobody: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An office, a family or a phone network has one address."""
    few = WRONG_LINKS._replace(most=10)
    monkeypatch.setattr(guessing, "WRONG_LINKS", few)
    sale = world.draft(world.verified("V-1"))
    present(world)
    world.offer(sale)
    right = way_in()
    for _ in range(few.most):
        assert nobody.get(right).status == 200
    for _ in range(few.most + 1):
        last = nobody.get("/offers/guess")
    assert last.status == 429
    assert nobody.get(right).status == 200
    assert nobody.post(f"{right}/check-request", fact()).status == 201


@pytest.mark.usefixtures("one_minute")
def test_going_through_addresses_is_slowed(world: World, stan: Api) -> None:
    for _ in range(allowed("look_up")):
        assert stan.get("/keepers", email="someone@keepers.example").status == 404
    assert stan.get("/keepers", email="someone@keepers.example").code == "throttled"


@pytest.mark.usefixtures("one_minute")
def test_opening_accounts_in_bulk_is_slowed(nobody: Api) -> None:
    for _ in range(allowed("sign_up")):
        assert nobody.post("/keepers", {}).code == "wrong_shape"
    assert nobody.post("/keepers", {}).code == "throttled"


@pytest.mark.parametrize("throttle", [SignIn, SignUp, LookUp, WitnessRate, Feed, Pushing])
def test_each_has_a_rate(throttle: type[SignIn]) -> None:
    assert throttle().num_requests == allowed(throttle.scope)


def test_a_lost_queue_server_keeps_nobody_out_and_lets_nobody_guess(
    nobody: Api, without_queue: None
) -> None:
    codes = [nobody.get("/offers/guess").code for _ in range(WRONG_LINKS.most + 1)]
    assert codes == ["link_gone"] * WRONG_LINKS.most + ["throttled"]


def test_a_count_ends_with_its_time_however_often_it_went_up() -> None:
    key = f"tried {uuid4()}"
    assert [attempts(key, 1) for _ in range(3)] == [1, 2, 3]
    with Redis.from_url(configured.REDIS_URL) as server:
        assert 0 < server.pttl(key) <= 1000
        eventually(lambda: not server.exists(key), "the count to end")
    assert attempts(key, 60) == 1


@pytest.mark.usefixtures("one_minute")
def test_what_is_pushed_is_counted_in_items_of_one_keeper(
    world: World, odile: Api, pim: Api, settings: Any
) -> None:
    settings.PUSH_ITEMS_A_MINUTE = 40
    animal = world.animal("A1").pk
    noted = {"noted": {"type": "weight", "grams": "60"}}
    items = [world.item("husbandry_noted", animal, noted) for _ in range(30)]
    assert odile.post("/push", {"items": items}).status == 200
    before = Entry.objects.count()
    answer = odile.post("/push", {"items": items})
    assert (answer.status, answer.code) == (429, "throttled")
    assert 1 <= int(answer.headers["Retry-After"]) <= 61
    assert Entry.objects.count() == before
    assert odile.post("/push", {"items": items[:10]}).status == 200  # what was refused is not
    assert odile.post("/push", {"items": items[:1]}).status == 429
    assert pim.post("/push", {"items": items}).status == 200  # and nobody else is concerned
