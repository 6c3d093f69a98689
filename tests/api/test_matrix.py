"""Every endpoint with everyone: who gets which answer, and what a blind guest learns."""

import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.cache import cache
from django.db import transaction
from django.http import HttpResponse
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone
from pytest_django import DjangoDbBlocker
from tests.api.matrix import ROWS, Row, fill
from tests.api.stage import PERSONAS, Stage, set_stage
from tests.plugins.own_database import own_copy

from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.people.models import Keeper

PREFIX = "api/v1/"


@pytest.fixture(scope="module")
def story(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[Stage]:
    with own_copy(untouched_database, django_db_blocker):
        made = set_stage()
        sign_checkpoint(timezone.now())  # as the worker does; else each answer signs another state
        yield made


@pytest.fixture
def stage(story: Stage) -> Stage:
    """One for all, as `ask` undoes what it does; the throttles count anew."""
    cache.clear()
    return story


Answers = Callable[[Row, str], HttpResponse]


@pytest.fixture(scope="module")
def answers(story: Stage) -> Answers:
    """As `ask`, each request once: what it is answered is read for several things."""
    given: dict[tuple[str, str], HttpResponse] = {}

    def answer(row: Row, persona: str) -> HttpResponse:
        asked = str(row), persona
        if asked not in given:
            given[asked] = ask(story, row, persona)
        return given[asked]

    return answer


def ask(stage: Stage, row: Row, persona: str) -> HttpResponse:
    """The answer; whatever it changed is undone."""
    path, _, query = fill(row.path, stage.ids).partition("?")
    send = getattr(stage.clients[persona], row.method.lower())
    more: dict[str, Any] = {"headers": row.headers}
    if row.body is not None:
        body = row.body(stage)
        more |= (
            {"data": body, "content_type": "image/jpeg"}
            if isinstance(body, bytes)
            else {"data": json.dumps(body), "content_type": "application/json"}
        )
    with transaction.atomic():
        answer: HttpResponse = send(f"/{PREFIX}{path}" + (f"?{query}" if query else ""), **more)
        transaction.set_rollback(True)
    return answer


def patterns(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, URLPattern]]:
    for one in resolver.url_patterns:
        path = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from patterns(one, path)
        else:
            yield path, one


def test_the_table_names_every_operation() -> None:
    """No endpoint without its row: the paths come from the URL configuration itself."""
    there = {
        re.sub(r"<[^>]*>", "{}", path.removeprefix(PREFIX))
        for path, _ in patterns(get_resolver())
        if path.startswith(PREFIX)
    }
    named = {re.sub(r"\{[^}]*\}", "{}", row.path.partition("?")[0]) for row in ROWS}
    assert there == named


def test_the_table_names_every_method(stage: Stage) -> None:
    """What a path allows besides reading about itself is in the table too."""
    for path in sorted({row.path.partition("?")[0] for row in ROWS}):
        answer = stage.clients["owner"].options(f"/{PREFIX}{fill(path, stage.ids)}")
        allowed = {one.strip() for one in answer.headers.get("Allow", "").split(",")}
        named = {row.method for row in ROWS if row.path.partition("?")[0] == path}
        assert allowed - {"OPTIONS", "HEAD"} == named, path


@pytest.mark.parametrize("persona", PERSONAS)
@pytest.mark.some(1, besides=("guest_before", "stranger"))
def test_everyone_gets_exactly_the_answer_of_the_table(
    stage: Stage, answers: Answers, persona: str
) -> None:
    wrong = []
    for row in ROWS:
        answer = answers(row, persona)
        if answer.status_code != row.expected[persona]:
            wrong.append(
                (str(row), answer.status_code, row.expected[persona], answer.content[:300])
            )
        if answer.status_code >= 400:
            problem = json.loads(answer.content)
            assert answer.headers["Content-Type"] == "application/problem+json"
            assert {"type", "title", "status", "detail", "code"} <= problem.keys()
    assert wrong == []


@pytest.mark.parametrize("persona", ["guest_before"])
def test_a_blind_guest_learns_nothing_from_any_endpoint(
    stage: Stage, answers: Answers, persona: str
) -> None:
    """Every answer, refusals and headers too, is read for what could tell a sex."""
    for row in ROWS:
        if row.path.startswith(("offers/", "schema", "docs", "species")):
            continue  # not a guest's to have, or the same for everyone
        answer = answers(row, persona)
        given = answer.content.decode() + json.dumps(dict(answer.headers))
        assert [secret for secret in stage.secrets if secret in given] == [], row
        assert re.findall(r'"(?:probable|verified) |contested', given) == [], row
        if row.method == "GET":
            assert re.findall(r"\b(?:fe)?male\b", given) == [], row


HIDDEN_FROM_THE_BLIND = {
    "collection", "sire", "dam", "traits", "name", "rack", "description", "standing", "version",
}  # fmt: skip


def test_what_a_blind_guest_does_see(stage: Stage) -> None:
    row = next(one for one in ROWS if str(one) == "GET animals/{blind}")
    blind = json.loads(ask(stage, row, "guest_before").content)
    whole = json.loads(ask(stage, row, "owner").content)
    assert set(whole) - set(blind) == HIDDEN_FROM_THE_BLIND
    assert blind["sight"] == "blind"
    assert "health" not in blind["condition"]
    assert "ETag" not in ask(stage, row, "guest_before").headers
    assert {one["code"] for one in blind["identifiers"]} == {"B1"}


@pytest.mark.parametrize("persona", ["former_guest", "stranger", "buyer"])
def test_lists_are_empty_for_those_without_a_grant(stage: Stage, persona: str) -> None:
    for path in ("animals", "collections", "sales", "disputes", "held-calls"):
        row = next(one for one in ROWS if str(one) == f"GET {path}")
        assert json.loads(ask(stage, row, persona).content)["items"] == [], path


def test_what_is_not_theirs_looks_like_what_does_not_exist(stage: Stage) -> None:
    """The refusals for a real id and an invented one are the same but for nothing."""
    nowhere = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
    for name in ("blind", "call", "sale", "dispute", "disclosure", "visit"):
        for row in ROWS:
            if row.method != "GET" or f"{{{name}}}" not in row.path:
                continue
            real = ask(stage, row, "stranger")
            invented = Row(row.method, row.path.replace(f"{{{name}}}", nowhere), row.expected)
            assert real.content == ask(stage, invented, "stranger").content, row


def test_nobody_sees_another_keepers_address(stage: Stage, answers: Answers) -> None:
    """Addresses go to their owner; a buyer's to the seller's side, and the seller's stands in
    a disclosure, since the buyer must know whom to turn to. Nobody else has them."""
    for persona in ("partner", "viewer", "guest_after", "guest_before", "stranger"):
        others = set(
            Keeper.objects.exclude(pk=stage.ids[f"keeper_{persona}"]).values_list(
                "email", flat=True
            )
        )
        for row in ROWS:
            if (
                row.method == "GET"
                and "email=" not in row.path
                and not row.path.startswith("offers/")
            ):
                given = answers(row, persona).content.decode(errors="replace")
                found = {email for email in others if email in given}
                if persona == "partner" and row.path.startswith(("sales", "disclosures")):
                    found -= {stage.world.stan.email, stage.world.odile.email}
                assert found == set(), row
