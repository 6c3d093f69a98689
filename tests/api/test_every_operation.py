"""What holds for every operation, taken from the document so that none is forgotten."""

from collections.abc import Iterator
from uuid import UUID, uuid4

import pytest
from django.core.cache import cache
from django.test import Client
from pytest_django import DjangoDbBlocker
from tests.api.client import BASE, Api, contract
from tests.plugins.own_database import own_copy
from tests.world import keeper

from scalewitness.domain.translog.canonical import MAX_DEPTH

METHODS = ("get", "post", "patch", "delete", "put", "options")


def operations() -> Iterator[tuple[str, str, dict]]:
    for path, found in sorted(contract()["paths"].items()):
        for method, operation in sorted(found.items()):
            yield method.upper(), path.removeprefix(BASE), operation


def _named(rows: list[tuple[str, str]]) -> dict:
    return {"argvalues": rows, "ids": [f"{method} {path}" for method, path in rows]}


def _takes_id(method: str, path: str, one: dict) -> bool:
    """By its path alone, and not after a link's token, which would be refused first."""
    return "{id}" in path and "{token}" not in path and "requestBody" not in one


def _takes_json(one: dict) -> bool:
    """The one that takes a picture: see test_photos."""
    return "application/json" in one.get("requestBody", {}).get("content", {})


def _asked(one: dict) -> str:
    """What must be asked for besides, each time an id."""
    needed = [
        each["name"]
        for each in one.get("parameters", ())
        if each["in"] == "query" and each.get("required")
    ]
    return "?" * bool(needed) + "&".join(f"{name}={{id}}" for name in needed)


ALL = list(operations())
CLOSED = _named([(m, p) for m, p, one in ALL if one["security"]])
WITH_BODY = _named([(m, p) for m, p, one in ALL if _takes_json(one)])
WITH_ID = _named([(m, p + _asked(one)) for m, p, one in ALL if _takes_id(m, p, one)])
PATHS = sorted((path.removeprefix(BASE), set(found)) for path, found in contract()["paths"].items())


def filled(path: str) -> str:
    ids = path.replace("{id}", str(uuid4()))
    return ids.replace("{token}", "no-such-token").replace("{year}", "2027")


@pytest.fixture(scope="module")
def known(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[Api]:
    with own_copy(untouched_database, django_db_blocker):
        yield Api(keeper("Odile Marten"))


@pytest.fixture
def asker(known: Api) -> Api:
    """One for all, as nothing here changes anything; the throttles count anew."""
    cache.clear()
    return known


@pytest.mark.parametrize(("method", "path"), **CLOSED)
def test_without_a_token_nobody_gets_in(nobody: Api, method: str, path: str) -> None:
    answer = nobody.raw(method, filled(path), b"")
    assert (answer.status, answer.code) == (401, "not_authenticated")
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize(("path", "has"), PATHS, ids=[path for path, _ in PATHS])
@pytest.mark.some(10)
def test_methods_a_path_does_not_have(asker: Api, path: str, has: set[str]) -> None:
    absent = [method.upper() for method in METHODS if method not in has]
    assert absent
    for method in absent:
        answer = asker.raw(method, filled(path), b"")
        assert (answer.status, answer.code) == (405, "method_not_allowed"), method
        assert method not in answer.headers["Allow"].split(", ")


@pytest.mark.parametrize(("method", "path"), **WITH_ID)
def test_an_id_that_stands_for_nothing(asker: Api, method: str, path: str) -> None:
    answer = asker.raw(method, filled(path), b"")
    assert (answer.status, answer.code) == (404, "not_found")


NOT_ONE_JSON_TEXT = {
    "cut off": (b"{", "not JSON"),
    "a name twice": (b'{"id": "a", "id": "b"}', "named 'id'"),
    "NaN": (b'{"at": NaN}', "NaN"),
    "lone surrogate": (b'{"id": "\\ud800"}', "surrogate"),
    "not UTF-8": (b'{"id": "\xff"}', "not UTF-8"),
    "too deep": (b"[" * (MAX_DEPTH + 1) + b"]" * (MAX_DEPTH + 1), "nested deeper"),
    "endless": (b"9" * 5000, "integer"),
}


@pytest.mark.parametrize(("method", "path"), **WITH_BODY)
@pytest.mark.some(10)
def test_what_is_not_one_json_text(asker: Api, method: str, path: str) -> None:
    for name, (text, detail) in NOT_ONE_JSON_TEXT.items():
        answer = asker.raw(method, filled(path), text)
        assert (answer.status, answer.code) == (400, "malformed"), (name, answer)
        assert detail in answer.body["detail"], name


@pytest.mark.parametrize(("method", "path"), **WITH_BODY)
@pytest.mark.some(10)
def test_json_of_another_shape(asker: Api, method: str, path: str) -> None:
    for text in (b"[]", b'"text"', b"null", b"1.5", b'{"no such member": 1}'):
        answer = asker.raw(method, filled(path), text)
        assert (answer.status, answer.code) == (422, "wrong_shape"), (text, answer)


OTHER_TYPES = ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "")


@pytest.mark.parametrize(("method", "path"), **WITH_BODY)
@pytest.mark.some(10)
def test_anything_but_json(asker: Api, method: str, path: str) -> None:
    for content_type in OTHER_TYPES:
        answer = asker.raw(method, filled(path), b"{}", content_type)
        assert (answer.status, answer.code) == (415, "unsupported_media_type"), (
            content_type,
            answer,
        )


@pytest.mark.parametrize(("method", "path"), **WITH_BODY)
@pytest.mark.some(10)
def test_more_than_the_server_reads(asker: Api, settings: object, method: str, path: str) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    answer = asker.raw(method, filled(path), b'{"id": "' + b"x" * 1000 + b'"}')
    assert (answer.status, answer.code) == (413, "too_large")


def test_nothing_is_kept_by_a_cache_on_the_way(asker: Api, nobody: Api) -> None:
    for answer in (asker.get("/animals"), nobody.get("/offers/none"), nobody.get("/log/head")):
        assert answer.headers["Cache-Control"] == "private, no-store"
        assert answer.headers["Referrer-Policy"] == "no-referrer"


@pytest.mark.parametrize(
    "path",
    ["/nothing", "/animals/", "/animals/not-an-id", "/animals/%00", f"/animals/{UUID(int=4)}/none"],
)
def test_addresses_that_lead_nowhere(asker: Api, path: str) -> None:
    answer = asker.get(path)
    assert (answer.status, answer.code) == (404, "not_found")


def test_a_host_that_is_not_ours_is_refused_as_a_problem(db: None) -> None:
    response = Client().get(f"{BASE}/log/head", headers={"Host": "elsewhere.example"})
    assert response.status_code == 400
    assert response.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    "header",
    ["Bearer", "Bearer a b", "Bearer \xff\xfe", "Bearer ", "Bearer x/y", "Bearer " + "0" * 64],
)
def test_a_token_that_is_none(asker: Api, header: str) -> None:
    answer = asker.get("/animals", headers={"Authorization": header})
    assert (answer.status, answer.code) == (401, "authentication_failed")


def test_head_answers_like_get_without_a_body(asker: Api) -> None:
    response = Client().head(f"{BASE}/animals", headers=asker.headers)
    assert (response.status_code, response.content) == (200, b"")


def test_accept_is_not_asked(asker: Api) -> None:
    """One representation only: a picky client gets JSON instead of a 406."""
    assert asker.get("/animals", headers={"Accept": "text/html"}).status == 200
