"""Every address of the service, tried by somebody who knows a password and nothing else: none
gives them a session or a token. From the table of addresses and the API's own document, so that
a way in that is added later is tried too."""

import json
import re
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from allauth import urls as library
from django.contrib.auth import SESSION_KEY
from django.core.cache import cache
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from knox.models import AuthToken
from tests.api.client import contract
from tests.second_factors import WRONG, app_of
from tests.turns import turns
from tests.world import PASSWORD, World

from scalewitness.people.models import Device, Keeper

FILLERS = {"uuid": str(uuid4()), "int": "1", "str": "x", "slug": "probing", "path": "app/main.js"}


def addresses(patterns: Any = None, before: str = "/") -> Iterator[str]:
    """Every address of the table, with something in the place of each parameter."""
    for one in get_resolver().url_patterns if patterns is None else patterns:
        path = before + _filled(str(one.pattern))
        if isinstance(one, URLResolver):
            yield from addresses(one.url_patterns, path)
        elif isinstance(one, URLPattern):
            yield path


def _filled(route: str) -> str:
    route = re.sub(r"<(\w+):\w+>", lambda found: FILLERS[found[1]], route)
    route = re.sub(r"\(\?P<animal_id>.*?\{12\}\)", FILLERS["uuid"], route)
    route = re.sub(r"\(\?P<type>.*?\)", "weight", route)
    route = re.sub(r"\(\?P<\w+>\[.*?\]\+\)|\(\?P<\w+>\.\+\)", "x", route)
    return route.strip("^$").replace("\\", "")


def knows_the_password(keeper: Keeper) -> Client:
    """Stands before the second step."""
    client = Client()
    sent = client.post("/accounts/login/", {"login": keeper.email, "password": PASSWORD})
    assert sent["Location"] == "/accounts/2fa/authenticate/"
    return client


@pytest.fixture
def odile(world: World) -> Keeper:
    cache.clear()
    app_of(world.odile)
    return world.odile


def tried(client: Client, path: str, keeper: Keeper) -> list[Any]:
    """All that somebody who knows the password can think of sending there."""
    said = {
        "email": keeper.email, "login": keeper.email, "password": PASSWORD, "name": "laptop",
        "password1": PASSWORD, "password2": PASSWORD, "code": WRONG, "answer": "yes",
        "device_code": "x", "grant_type": "urn:ietf:params:oauth:grant-type:device_code",
    }  # fmt: skip
    if path.startswith("/api/"):
        few = {name: said[name] for name in ("email", "password", "name")}
        return [
            client.get(path),
            *(client.post(path, json.dumps(one), "application/json") for one in (
                few, few | {"code": WRONG}, few | {"code": ""}, {"name": "laptop"}, said,
            )),
        ]  # fmt: skip
    return [client.get(path), client.post(path, said)]


def test_no_address_lets_in_whoever_knows_only_the_password(
    odile: Keeper, settings: object, request: pytest.FixtureRequest
) -> None:
    """An ordinary run tries a third of them, others with each seed."""
    whose = turns(request.config, 3)
    found = sorted(set(addresses()))
    assert len(found) > 180, "the table is read"
    before = AuthToken.objects.filter(user=odile).count()
    for path in found:
        if "changes" in path or not next(whose):
            continue  # waits; and wants a token, as test_every_operation shows
        cache.clear()
        client = knows_the_password(odile)
        for answer in tried(client, path, odile):
            assert SESSION_KEY not in client.session, path
            if answer.get("Content-Type", "").startswith("application/json"):
                assert "token" not in answer.json(), path
        assert client.get("/account").status_code == 302, path
    assert AuthToken.objects.filter(user=odile).count() == before
    assert not Device.objects.filter(keeper=odile).exists()


def test_the_walk_finds_a_way_in_that_is_open(world: World) -> None:
    """So that the test above is not passed by sending nothing that could work."""
    cache.clear()
    opened = set()
    for path in ("/accounts/login/", "/api/v1/devices"):
        for answer in tried(Client(), path, world.odile):
            if answer.status_code == 201 or SESSION_KEY in answer.client.session:
                opened.add(path)
    assert opened == {"/accounts/login/", "/api/v1/devices"}


def test_only_two_operations_give_out_a_token() -> None:
    """Both ask for the second factor: the one by a code, the other on a page."""
    giving = set()
    for operations in contract()["paths"].values():
        for one in operations.values():
            for status, answer in one["responses"].items():
                if status < "300" and "token" in _members(answer.get("content", {})):
                    giving.add(one["operationId"])
    assert giving == {"enrol_device", "fetch_token"}


def _members(content: Any) -> set[str]:
    said = json.dumps(content)
    named = re.findall(r'"#/components/schemas/(\w+)"', said)
    schemas = [contract()["components"]["schemas"][name] for name in named]
    return {member for schema in schemas for member in schema.get("properties", {})}


def test_addresses_of_the_library_that_are_not_in_use_lead_nowhere(db: None) -> None:
    ours = {path for path in addresses() if path.startswith("/accounts/")}
    theirs = set(addresses(library.urlpatterns, "/accounts/"))
    unused = theirs - ours
    assert "/accounts/login/code/confirm/" in unused
    assert "/accounts/password/set/" in unused
    for path in unused:
        assert Client().get(path).status_code == 404, path
        assert Client().post(path, {}).status_code == 404, path


def test_where_a_second_factor_is_asked_for_a_keeper_without_opens_no_page_of_the_record(
    world: World, settings: object
) -> None:
    """They can set one up, confirm an address, change a password and leave; no more."""
    settings.SECOND_FACTOR = "required"
    client = Client()
    client.force_login(world.odile)
    open_to_all = re.compile(
        r"/(accounts/|about|example|kept|log|rackside|offers/|reports/by-link/|calendar/by-link/|sign-out/|health/|metrics|api/v1/(docs|schema|log))"
    )
    for path in sorted(set(addresses())):
        if open_to_all.match(path):
            continue
        answer = client.get(path)
        if path.startswith("/api/"):
            assert answer.status_code in {401, 404, 405}, path
        else:
            leads = answer.get("Location", "")
            led = leads == "/accounts/2fa/" or "reauthenticate/" in leads
            on = answer.status_code == 302 and not leads.startswith(("/accounts", "//", "http"))
            assert led or on, (path, answer.status_code, leads)
