"""The OpenAPI document held against the server: whatever is sent, the answer is one it names.

Schemathesis makes requests that fit the document and requests that do not, and checks status,
headers, media types and bodies of the answers against it. Of those that it makes one by one from
the document, thousands, the ordinary suite sends one in twenty-four, others with each seed of
pytest-randomly's, and two drawn at random of each operation; with ``--all`` every one is sent,
and eight.
"""

import json
from collections.abc import Callable, Iterator
from typing import Any
from uuid import UUID

import pytest
import schemathesis
from django.core.cache import cache
from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, settings
from pytest_django import DjangoDbBlocker
from schemathesis.generation.meta import TestPhase
from schemathesis.pytest.lazy import get_all_tests
from schemathesis.specs.openapi.checks import negative_data_rejection
from tests.api.stage import Stage, set_stage
from tests.plugins.own_database import own_copy
from tests.turns import turns as turns_of

from scalewitness.api.openapi.document import document

CHECKS = {
    # 404 hides what is not one's to see before anything else is said; 428 asks for the version.
    "missing_required_header": {"expected-statuses": [401, 404, 415, 422, 428]},
    # 410 is for any cursor that was never given out.
    "negative_data_rejection": {"expected-statuses": ["4xx"]},
    # What has a possible form may say something impossible.
    "positive_data_acceptance": {"enabled": False},
}
schema = schemathesis.openapi.from_dict(
    json.loads(document()), config=schemathesis.Config.from_dict({"checks": CHECKS})
)
schema.app = WSGIHandler()

STEADY = settings(derandomize=True, database=None, suppress_health_check=list(HealthCheck))
EXAMPLES, EXAMPLES_OF_ALL = 2, 8
SHARE = 24
ITEM_BY_ITEM = "/api/v1/push"
"""Takes any list: what is wrong with an item is told in its own outcome."""


@pytest.fixture(scope="module")
def story(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[Stage]:
    """Requests end without closing the connection, as with Django's own test client."""
    turns = (request_started, request_finished)
    for turn in turns:
        turn.disconnect(close_old_connections)
    with own_copy(untouched_database, django_db_blocker):
        yield set_stage()
    for turn in turns:
        turn.connect(close_old_connections)


@pytest.fixture
def stage(story: Stage) -> Stage:
    """One for all, as each request is undone; the throttles count anew."""
    cache.clear()
    return story


@pytest.fixture(scope="module")
def turns(request: pytest.FixtureRequest) -> Iterator[bool]:
    """Whose turn it is to be sent, of the requests made one by one."""
    return turns_of(request.config, SHARE)


OPERATIONS = [found.ok().label for found in schema.get_all_operations()]


@pytest.fixture(scope="module")
def tests(request: pytest.FixtureRequest) -> dict[str, Callable[..., None]]:
    """By operation. ``schema.parametrize`` would make all their requests while collecting, in every
    process of the run: that took longer than collecting all other tests."""
    examples = EXAMPLES_OF_ALL if request.config.getoption("--all") else EXAMPLES
    steady = settings(STEADY, max_examples=examples)
    made = get_all_tests(schema=schema, test_func=answered, settings=steady, given_kwargs={})
    return {operation.label: test for operation, test in (one.ok() for one in made)}


@pytest.mark.parametrize("operation", OPERATIONS)
@pytest.mark.some(40)
def test_every_answer_is_one_that_was_promised(
    operation: str, tests: dict[str, Callable[..., None]], stage: Stage, turns: Iterator[bool]
) -> None:
    tests[operation](stage=stage, turns=turns)


def answered(case: Any, stage: Stage, turns: Iterator[bool]) -> None:
    if case.meta.phase.name is TestPhase.COVERAGE and not next(turns):
        return
    _aim(case, stage)
    authorization = stage.clients["owner"].defaults["HTTP_AUTHORIZATION"]
    headers = {"Authorization": authorization, "Accept-Encoding": "identity"}
    left_out = [negative_data_rejection] if case.path == ITEM_BY_ITEM else []
    with transaction.atomic():
        case.call_and_validate(headers=headers, excluded_checks=left_out)
        transaction.set_rollback(True)


def _aim(case: Any, stage: Stage) -> None:
    """Three requests in four at something that is there, else all would end at 404."""
    given = case.path_parameters or {}
    named = sorted(one for one in stage.ids.values() if len(one) == 36)
    if isinstance(given.get("id"), str):
        try:
            number = UUID(given["id"]).int
        except ValueError:
            return
        if number % 4:
            given["id"] = named[number % len(named)]
    if isinstance(given.get("token"), str) and len(given["token"]) % 2:
        given["token"] = stage.ids["offer_token"]
