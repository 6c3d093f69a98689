"""What is not yours is answered as what does not exist: status, body, headers and, roughly, the
questions asked of the database. Every operation of the table, in which no operation may be
missing, with every id that it takes, in its path or in its body. An ordinary run asks all of them
as the guest who is still to check blind, and a quarter as each of the others, another with each
seed; with ``--all`` everybody asks everything."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django import DjangoDbBlocker
from tests.api.matrix import ROWS, SEES_SOME, Row, fill
from tests.api.stage import PERSONAS, Stage, set_stage
from tests.api.test_matrix import ask
from tests.plugins.own_database import own_copy
from tests.turns import turns

from scalewitness.ledger.services.signing import sign_checkpoint

NOWHERE = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
MORE_QUERIES = 8
"""Finding out that something is somebody else's takes a question or two more; a call about an
animal of which nothing was found ahead asks six again, sent together."""
NO_ID = {"stranger", "stranger_email", "year"}
"""A keeper is found by their address, which is how one comes to know their id; a year is a year."""
ANIMALS = {"blind", "sold", "other", "young"}
NOT_SEEING = ("guest_before", "former_guest", "buyer", "stranger", "anonymous")
"""Who may not see an animal that is not on their sheet, and never was their own."""


@dataclass(frozen=True)
class Two:
    """One house, and another that it has nothing to do with."""

    ours: Stage
    theirs: Stage


@pytest.fixture(scope="module")
def houses(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[Two]:
    with own_copy(untouched_database, django_db_blocker):
        found = Two(set_stage(), set_stage("Elsewhere"))
        sign_checkpoint(timezone.now())  # else whoever asks for a proof first has it signed
        yield found


@dataclass(frozen=True)
class Answer:
    """All that the asker learns, the ids they asked for themselves left out."""

    status: int
    body: str
    headers: tuple[tuple[str, str], ...]
    queries: int


def answer(stage: Stage, row: Row, persona: str, put: dict[str, str]) -> Answer:
    """``put``: ids in place of the stage's own."""
    connection.queries_log.clear()  # else it is full after a while
    with CaptureQueriesContext(connection) as asked:
        found = ask(replace(stage, ids=stage.ids | put), row, persona)
    body, headers = found.content.decode(errors="replace"), dict(found.headers)
    for one in put.values():
        body = body.replace(one, "…")
        headers = {name: value.replace(one, "…") for name, value in headers.items()}
    return Answer(found.status_code, body, tuple(sorted(headers.items())), len(asked))


def ids_in(stage: Stage, row: Row) -> list[str]:
    """The names of the ids that the row names, in its path or its body."""
    body = row.body(stage) if row.body else None
    text = fill(row.path, stage.ids) + (json.dumps(body) if isinstance(body, dict) else "")
    found = (name for name, one in stage.ids.items() if one in text and "token" not in name)
    return [name for name in found if name not in NO_ID and not name.startswith("keeper_")]


def has_seen(stage: Stage, persona: str, animal: str) -> bool:
    """They were there, so that a late call of theirs is looked into tells them nothing."""
    return persona == "former_guest" and animal == stage.ids["blind"]


WITH_IDS = [row for row in ROWS if "{" in row.path or row.body]
SHARE = 8


@pytest.fixture
def asked(request: pytest.FixtureRequest, persona: str) -> Iterator[bool]:
    """Of all that there is to ask, whose turn it is; a blind guest's always."""
    return turns(request.config, 1 if persona == "guest_before" else SHARE)


def differences(stage: Stage, row: Row, persona: str, name: str, *others: str) -> Iterator[str]:
    """Where ``others`` in the place of that id are answered otherwise than one of nothing."""
    missing = answer(stage, row, persona, {name: NOWHERE})
    for other in others:
        there = answer(stage, row, persona, {name: other})
        told = [
            f"{field} {getattr(there, field)!r} {getattr(missing, field)!r}"
            for field in ("status", "body", "headers")
            if getattr(there, field) != getattr(missing, field)
        ]
        asked = abs(there.queries - missing.queries)
        if asked > MORE_QUERIES and not has_seen(stage, persona, other):
            told.append(f"{there.queries} queries, {missing.queries} queries")
        if told:
            yield f"{row} by {persona}, {name}: {'; '.join(told)}"


def not_theirs(houses: Two, row: Row, persona: str, name: str) -> Iterator[str]:
    """Ids of that kind which the persona has no business with."""
    yield houses.theirs.ids[name]
    if row.expected[persona] == 404 and not (name in ANIMALS and persona in SEES_SOME):
        yield houses.ours.ids[name]
    if name in ANIMALS and persona in NOT_SEEING:
        yield houses.ours.ids["bought"]


@pytest.mark.parametrize("persona", PERSONAS)
def test_what_is_not_yours_is_as_what_is_not_there(
    houses: Two, asked: Iterator[bool], persona: str
) -> None:
    cache.clear()
    found = [
        one
        for row in WITH_IDS
        for name in ids_in(houses.ours, row)
        if next(asked)
        for one in differences(
            houses.ours, row, persona, name, *not_theirs(houses, row, persona, name)
        )
    ]
    assert found == [], "\n".join(map(str, found))


def misshapen(row: Row) -> Iterator[Row]:
    """The same with something wrong, so that it is seen in which order things are looked at."""
    if row.headers:
        yield replace(row, headers={})
        yield replace(row, headers={"If-Match": '"v99"'})
    if row.body is None:
        return
    for wrong in (
        lambda body: {**body, "superfluous": 1},
        lambda body: {**body, "body": {**body.get("body", {}), "superfluous": 1}},
        lambda body: {**body, "texts": {"superfluous": "word"}},
        lambda body: {**body, "at": "yesterday"},
        lambda body: {**body, "sig": "none"},
        lambda body: {name: value for name, value in body.items() if name != "body"},
        lambda body: {},
    ):
        yield replace(row, body=lambda stage, wrong=wrong: _with(row, stage, wrong))


def _with(row: Row, stage: Stage, wrong: Any) -> Any:
    assert row.body is not None
    body = row.body(stage)
    return wrong(body) if isinstance(body, dict) else body


def nearest(houses: Two, row: Row, persona: str, name: str) -> str:
    """To a blind guest that of the very animal that they are to check; else somebody else's."""
    hidden = persona == "guest_before" and row.expected[persona] == 404 and name not in ANIMALS
    return (houses.ours if hidden else houses.theirs).ids[name]


@pytest.mark.parametrize("persona", ["owner", "guest_before", "stranger"])
@pytest.mark.some(0, besides=("guest_before",))
def test_nor_does_what_is_wrong_with_a_request_tell(
    houses: Two, asked: Iterator[bool], persona: str
) -> None:
    cache.clear()
    found = [
        one
        for row in WITH_IDS
        for name in ids_in(houses.ours, row)
        if f"{{{name}}}" in row.path
        for bad in misshapen(row)
        if next(asked)
        for one in differences(houses.ours, bad, persona, name, nearest(houses, row, persona, name))
    ]
    assert found == [], "\n".join(map(str, found))
