"""Every page of the URL table with every id in its address: what is not yours looks as what does
not exist, opened or with a form sent to it, whoever asks. An ordinary run opens all of them as the
guest who is still to check blind, and a quarter as each of the others, another with each seed;
with ``--all`` everybody opens everything."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoDbBlocker
from tests.api.stage import PERSONAS, Stage, set_stage
from tests.api.test_not_yours import SHARE, Two
from tests.pages.addresses import ELSEWHERE, HERE, NAMES, address, ids_for, parts_of
from tests.pages.test_matrix import OPEN
from tests.plugins.own_database import own_copy
from tests.turns import turns
from tests.world import new_id

from scalewitness.people.models import Keeper

NOWHERE = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
MORE_QUERIES = 8
OPEN_TO_ALL_WHO_HOLD_IT = {"token"}
"""Whoever holds a link's token is the buyer."""

Sent = Mapping[str, Any] | None

EMPTY: Sent = {}
WHOLE: Sent = {
    "id": str(new_id()),
    "at": "2026-01-01T00:00:00.000Z",
    "version": "1",
    "name": "Other",
    "note": "A word.",
    "statement": "A word.",
    "reasons": "A word.",
    "ground": "wrong_animal",
    "outcome": "unresolved",
    "remedy": "none",
    "admitted": "yes",
    "email": "somebody@keepers.example",
    "grams": "400",
    "scheme": "tag",
    "code": "X9",
    "species": "python_regius",
    "role": "sire",
    "season": "2027",
    "why": "moved",
    "dispute": str(new_id()),
    "pairing": str(new_id()),
}
"""Nothing, and all that the forms of pages ask for, as far as it needs no id."""


@pytest.fixture(scope="module")
def houses(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[Two]:
    with own_copy(untouched_database, django_db_blocker):
        yield Two(set_stage(), set_stage("Elsewhere"))


@dataclass(frozen=True)
class Seen:
    """All that a reader gets, but for the id that they asked for and the form's token."""

    status: int
    goes_to: str
    html: str
    queries: int


def browser_of(stage: Stage, persona: str) -> Client:
    client = Client(raise_request_exception=False)
    if persona != "anonymous":
        client.force_login(Keeper.objects.get(pk=stage.ids[f"keeper_{persona}"]))
    return client


def seen(client: Client, name: str, ids: Mapping[str, str], part: str, sent: Sent) -> Seen:
    path = address(name, ids)
    cache.clear()  # wrong links are counted, and turned away after sixty
    connection.queries_log.clear()
    client.cookies.pop("messages", None)  # what an earlier form was answered is not this page's
    with CaptureQueriesContext(connection) as asked, transaction.atomic():
        answer = client.get(path) if sent is None else client.post(path, dict(sent))
        transaction.set_rollback(True)
    html = b"".join(answer) if answer.streaming else answer.content
    shown = FRESH.sub("", html.decode(errors="replace").replace(ids[part], "…"))
    goes_to = answer.headers.get("Location", "").replace(ids[part], "…")
    return Seen(answer.status_code, goes_to, shown, len(asked))


FRESH = re.compile(r'name="(?:id|at|csrfmiddlewaretoken)" value="[^"]*"')
"""Hidden in every form, and another each time."""

WITH_IDS = [
    (name, part)
    for name in NAMES
    for part in parts_of(name)
    if part in HERE and part not in OPEN_TO_ALL_WHO_HOLD_IT
]


def differences(houses: Two, persona: str, asked: Iterator[bool]) -> Iterator[str]:
    client, ways = browser_of(houses.ours, persona), WAYS if persona in SENDERS else WAYS[:1]
    theirs_to_open = {one for who in OPEN if persona in who for one in OPEN[who].split()}
    asks = [(name, part, sent) for name, part in WITH_IDS for sent in ways if next(asked)]
    for name, part, sent in asks:
        ids = ids_for(name, houses.ours)
        missing = seen(client, name, {**ids, part: NOWHERE}, part, sent)
        both = persona in PARTLY and not (sent is None and name in theirs_to_open)
        for other in (houses.theirs, houses.ours)[: 2 if both else 1]:
            there = seen(client, name, {**ids, part: ids_for(name, other)[part]}, part, sent)
            if other is houses.ours and there.status != 404:
                continue  # theirs to see: test_matrix
            if replace(there, queries=0) != replace(missing, queries=0):
                yield f"{name} by {persona}, {part}, {sent}: {there.status} {missing.status}"
            if other is houses.ours and persona in INVITED:
                continue
            if abs(there.queries - missing.queries) > MORE_QUERIES:
                yield f"{name} by {persona}: {there.queries}, {missing.queries} queries"


WAYS = (None, EMPTY, WHOLE)
"""Opened, and with forms sent."""
SENDERS = ("owner", "guest_before", "former_keeper")
"""Who sends forms too: to what is another house's everybody is a stranger."""
INVITED = ("guest_before", "former_guest")
"""They were told of the animal by the invitation: that a late note of theirs is looked into tells
them nothing."""
PARTLY = ("viewer", "guest_before", "guest_after", "former_guest", "former_keeper", "buyer")
"""Who may see some of a house and not all; what is kept from them of it is as not there too."""


@pytest.mark.parametrize("persona", PERSONAS)
def test_what_is_not_yours_looks_as_what_is_not_there(
    houses: Two, persona: str, request: pytest.FixtureRequest
) -> None:
    asked = turns(request.config, 1 if persona == "guest_before" else SHARE)
    found = list(differences(houses, persona, asked))
    assert found == [], "\n".join(found)


def test_every_part_of_an_address_can_be_filled(houses: Two) -> None:
    """So that no page is left out of this walk for want of something to ask about."""
    for name in NAMES:
        assert ids_for(name, houses.ours).keys() == set(parts_of(name))
    assert ELSEWHERE.keys() <= set(NAMES)
