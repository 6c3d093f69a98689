"""What is noted of a request: an id that nobody forges, a route, and who for a day alone."""

import json
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
import structlog
from django.conf import settings as configured
from django.test import Client
from django.urls import get_resolver
from django.utils import timezone
from tests.api.client import Api
from tests.operator import metrics
from tests.serving.test_logs import written_down
from tests.world import World

from scalewitness.serving.noted import NOTED, RequestNotes
from scalewitness.serving.requests import HEADER, NoteRequest, Watched, pseudonym

ID = "0" * 31 + "7"
UUIDS = ("01a2153e-0715-4e46-a419-481817e81a97", ID)


def served(environ: dict[str, Any]) -> tuple[str, list[str]]:
    """The id in the answer, and what was written down meanwhile."""
    sent: dict[str, str] = {}

    def application(environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        structlog.get_logger().warning("meanwhile")
        start("200 OK", [("Content-Type", "text/plain")])
        return [b""]

    with written_down() as written:
        Watched(application)(environ, lambda status, headers: sent.update(headers))
    return sent[HEADER], written.getvalue().splitlines()


@pytest.mark.parametrize("given", UUIDS)
def test_the_id_of_our_proxy_is_kept_in_every_line_and_in_the_answer(
    settings: Any, given: str
) -> None:
    settings.TRUSTED_PROXIES = 1
    answered, lines = served({"HTTP_X_REQUEST_ID": given})
    assert answered == given
    assert [json.loads(line)["request_id"] for line in lines] == [given]


@pytest.mark.parametrize(
    "given",
    [
        "",
        "x" * 32,
        f"{ID}\n",
        f'{ID}\r\nSet-Cookie: a=b\r\n{{"level": "forged"}}',
        f"{ID}\u2028",
        ID.replace("0", "٠"),  # digits, of another script
        f" {ID}",
        ID * 100,
        "../../etc/passwd",
    ],
)
def test_no_id_is_forged(settings: Any, given: str) -> None:
    """Not even by way of a proxy that hands on what it was sent."""
    settings.TRUSTED_PROXIES = 1
    answered, lines = served({"HTTP_X_REQUEST_ID": given})
    assert UUID(answered).hex == answered != given
    assert [json.loads(line)["request_id"] for line in lines] == [answered]


def test_without_a_proxy_of_ours_nobodys_id_is_taken(settings: Any) -> None:
    settings.TRUSTED_PROXIES = 0
    first, _ = served({"HTTP_X_REQUEST_ID": ID})
    second, _ = served({"HTTP_X_REQUEST_ID": ID})
    assert len({first, second, ID}) == 3


def test_no_stranger_says_what_is_traced() -> None:
    sent = ("HTTP_TRACEPARENT", "HTTP_TRACESTATE", "HTTP_BAGGAGE")
    environ = dict.fromkeys(sent, f"00-{ID}-{ID[:16]}-01")
    served(environ)
    assert [name for name in environ if name.startswith("HTTP")] == []


def test_a_keeper_cannot_be_followed_from_one_day_to_the_next(settings: Any) -> None:
    """Whoever has the log of a month has thirty pseudonyms of a keeper, and nothing to join them
    by; with all keepers' ids, which the log's entries tell, they are none the wiser."""
    keepers, first = [uuid4() for _ in range(20)], date(2026, 11, 1)
    days = [first + timedelta(days=one) for one in range(30)]
    seen = [pseudonym(keeper, day) for keeper in keepers for day in days]
    assert len(set(seen)) == len(seen)
    assert pseudonym(keepers[0], first) == seen[0]
    settings.SECRET_KEY = "another"
    assert pseudonym(keepers[0], first) != seen[0]
    assert not [one for one in keepers if one.hex[:6] in "".join(seen)]


def noted(client: Client, path: str, **more: Any) -> RequestNotes:
    found = RequestNotes("x")
    client.get(path, **{NOTED: found, **more})
    return found


def test_who_is_noted_where_the_answer_depended_on_it(world: World) -> None:
    odile = Api(world.odile)
    found = noted(Client(), "/api/v1/keepers/me", headers=odile.headers)
    assert found.keeper == pseudonym(world.odile.pk, timezone.now().date())
    assert noted(Client(), "/health/live", headers=odile.headers).keeper is None
    assert noted(Client(), "/").keeper is None


def test_a_thousand_addresses_are_one_route(db: None) -> None:
    client = Client()
    tried = [f"/no/{one}" for one in range(500)]
    tried += [f"/offers/Secret{one}" for one in range(250)]
    tried += [f"/animals/{uuid4()}" for _ in range(250)]
    routes = {noted(client, one).route for one in tried}
    assert routes == {"unmatched", "/offers/<str:token>", "/animals/<uuid:animal_id>"}


def test_a_wait_for_a_change_is_a_route_of_its_own(db: None) -> None:
    """Or all would seem slow where many wait."""
    for query, route in {
        "wait=1": "/api/v1/changes waiting",
        "wait=0": "/api/v1/changes",
        "": "/api/v1/changes",
    }.items():
        assert noted(Client(), "/api/v1/changes", QUERY_STRING=query).route == route


def test_every_route_reads_as_an_address() -> None:
    from scalewitness.serving.requests import _plain

    def routes(within: Any, before: str = "") -> Iterable[str]:
        for one in within.url_patterns:
            route = before + str(one.pattern)
            yield from routes(one, route) if hasattr(one, "url_patterns") else [_plain(route)]

    found = list(routes(get_resolver()))
    assert len(found) > 200
    assert not [one for one in found if set(one) & set("^$?\\*[](){}")]


def test_it_is_the_outermost() -> None:
    assert configured.MIDDLEWARE[0] == f"{NoteRequest.__module__}.{NoteRequest.__name__}"


def test_what_is_counted_is_counted_by_route_and_status(db: None) -> None:
    before = metrics().content.decode()

    def application(environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        environ[NOTED].route = "/of-a-test"
        start("422 Unprocessable", [])
        return [b""]

    for _ in range(3):
        Watched(application)({}, lambda status, headers: None)
    after = metrics().content.decode()
    line = 'scalewitness_answers_total{route="/of-a-test",status="422"} 3.0'
    assert line not in before
    assert line in after
    assert 'scalewitness_request_seconds_count{route="/of-a-test"} 3.0' in after


def test_what_fails_before_any_answer_counts_as_500(db: None) -> None:
    def application(environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        environ[NOTED].route = "/failing"
        raise RuntimeError

    with pytest.raises(RuntimeError):
        Watched(application)({}, lambda status, headers: None)
    assert '{route="/failing",status="500"} 1.0' in metrics().content.decode()
