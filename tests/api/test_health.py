"""Whether the process lives, is ready, and what it counts."""

from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings as configured
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families
from tests.api.client import Api
from tests.api.conftest import present
from tests.breaking import lost_after
from tests.operator import metrics
from tests.world import World

from scalewitness import __version__
from scalewitness.disclosures.models import Disclosure
from scalewitness.mail.models import Letter

pytestmark = pytest.mark.one_in(4)

READY = {"release": __version__, "database": "ok", "broker": "ok", "log": "ok"}


def test_a_process_that_answers_lives() -> None:
    """Without asking the database: no `db` fixture here."""
    response = Client().get("/health/live")
    assert (response.status_code, response.json()) == (
        200,
        {"status": "ok", "release": __version__},
    )


def test_ready_with_database_and_broker(db: None) -> None:
    response = Client().get("/health/ready")
    assert response.status_code == 200
    assert response.json() == READY


def test_ready_without_the_broker_too_and_says_so(db: None, without_queue: None) -> None:
    """Letters are late without it and nothing else: no reason to send readers elsewhere."""
    response = Client().get("/health/ready")
    assert response.status_code == 200
    assert response.json() == READY | {"broker": "unreachable"}
    assert "\nscalewitness_broker_up 0.0\n" in metrics().content.decode()


def test_not_ready_without_the_database(lasting_world: World) -> None:
    with lost_after(0):
        response = Client().get("/health/ready")
    assert response.status_code == 503
    assert response.json() == READY | {"database": "unreachable", "log": "unknown"}


@pytest.mark.parametrize("path", ["/health/live", "/health/ready"])
def test_they_are_only_read_and_never_kept(db: None, path: str) -> None:
    assert Client().post(path).status_code == 405
    assert "no-store" in Client().get(path).headers["Cache-Control"]


def test_asked_from_within_there_is_no_detour_over_tls(db: None, settings: object) -> None:
    settings.SECURE_SSL_REDIRECT = True
    for path in ("/health/live", "/health/ready"):
        assert Client().get(path).status_code == 200
    assert metrics().status_code == 200
    assert Client().get("/api/v1/log/head").status_code == 301


def test_metrics_count_and_tell_nothing_about_anyone(world: World) -> None:
    animal = world.verified("V-1")
    sale = world.sold(animal)
    present(world)
    world.call(world.odile, animal, "female")
    text = metrics().content.decode()
    assert Disclosure.objects.filter(sale=sale).count() == 1
    assert "\nscalewitness_disclosures_unacknowledged 1.0\n" in text
    waiting = Letter.objects.filter(state="waiting").count()
    assert f'\nscalewitness_letters{{state="waiting"}} {waiting}.0\n' in text
    assert 'scalewitness_letters{state="failed"} 0.0' in text
    size = Api().get("/log/head").body["size"]
    assert f"\nscalewitness_log_size {size}.0\n" in text
    for personal in (world.odile.name, "@", "V-1", str(animal.pk), configured.SECRET_KEY):
        assert personal not in text


def test_metrics_are_prometheus_text(db: None) -> None:
    """As Prometheus's own library reads it; format 0.0.4."""
    response = metrics()
    assert response.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    families = list(text_string_to_metric_families(response.content.decode()))
    assert all(one.name.startswith("scalewitness_") and one.documentation for one in families)
    assert len({one.name for one in families}) == len(families) > 30


def test_metrics_are_not_there_for_anybody_but_the_operator(db: None, odile: Api) -> None:
    nothing = Client().get("/no-such-page")
    token = configured.METRICS_TOKEN
    for says in (
        "",
        token,
        f"Bearer {token}x",
        f"Bearer {token[:-1]}",
        "Bearer ",
        f"Basic {token}",
    ):
        for method in ("GET", "HEAD", "POST", "OPTIONS"):
            answer = Client().generic(method, "/metrics", headers={"Authorization": says})
            assert answer.status_code == 404
            assert "scalewitness_" not in answer.content.decode()
            if method == "GET":
                assert answer.content == nothing.content
                assert dict(answer.headers) == dict(nothing.headers)
    assert Client().get("/metrics", headers=odile.headers).status_code == 404
    assert Client().get(f"/metrics?token={token}").status_code == 404


def test_without_a_token_there_are_no_metrics_from_the_loopback_either(
    db: None, settings: Any
) -> None:
    settings.METRICS_TOKEN = ""
    for headers in ({}, {"Authorization": "Bearer "}, {"X-Forwarded-For": "127.0.0.1"}):
        assert Client(REMOTE_ADDR="127.0.0.1").get("/metrics", headers=headers).status_code == 404


def test_the_operator_reads_them_and_nothing_keeps_them(db: None) -> None:
    answer = metrics()
    assert answer.status_code == 200
    assert "no-store" in answer.headers["Cache-Control"]
    lower = {"Authorization": f"bearer {configured.METRICS_TOKEN}"}
    assert Client().get("/metrics", headers=lower).status_code == 200
    assert Client().post("/metrics", headers=lower).status_code == 405


def test_a_scrape_asks_as_much_of_a_hundredfold_record(world: World) -> None:
    """It may come each second: nothing is asked that there is ever more of."""
    metrics()  # what is asked once a process
    with CaptureQueriesContext(connection) as few:
        metrics()
    now = timezone.now()
    Letter.objects.bulk_create(
        Letter(
            id=uuid4(),
            kind="disclosure",
            cause=uuid4(),
            recipient=world.odile.pk,
            to="odile@oskarby.example",
            context={},
            message_id=str(number),
            state=("sent", "waiting")[number % 100 == 0],
            created_at=now,
            next_try_at=now,
        )
        for number in range(1000)
    )
    with CaptureQueriesContext(connection) as many:
        text = metrics().content.decode()
    assert len(many) == len(few) < 15
    assert 'scalewitness_letters{state="waiting"} 10.0' in text
    assert 'state="sent"' not in text


def test_while_the_database_is_away_the_rest_is_told(lasting_world: World) -> None:
    with lost_after(0):
        answer = metrics()
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "\nscalewitness_database_up 0.0\n" in text
    assert "\nscalewitness_broker_up 1.0\n" in text
    assert "\nscalewitness_log_size" not in text
