"""Every page and every operation with 20 animals and with several times as many: the same number of
questions to the database, and not much more of the process's time. Names come from the URL table
and from the table of operations, in which none may be missing. An ordinary run asks a sixth of
them, another with each seed; with ``--all`` every one."""

import gc
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from statistics import median

import pytest
from django.core.cache import cache
from django.db import connection, transaction
from django.http import HttpResponseBase
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django import DjangoDbBlocker
from tests.api.matrix import ROWS
from tests.api.stage import Stage, set_stage
from tests.api.test_matrix import ask
from tests.pages.addresses import NAMES, address, ids_for
from tests.pages.crowd import grow
from tests.plugins.own_database import own_copy
from tests.turns import turns

from scalewitness.ledger.services.signing import sign_checkpoint

SMALL = 20
MORE_QUERIES = 5
TIMES = {100: 3, 1000: 15}
"""As long as with few, by how many there are: what plans or lists all takes longer with more."""
HOLDS_ALL = {"page own_data"}
"""A file of everything somebody stated, read in pieces."""
SHARE = 6

Ask = Callable[[], HttpResponseBase]


@dataclass(frozen=True)
class Cost:
    """Of one answer: ``queries``, and ``seconds`` of the process."""

    queries: int
    seconds: float


@dataclass(frozen=True)
class Costs:
    """By name, with few animals and with ``crowd`` of them."""

    crowd: int
    found: dict[str, tuple[Cost, Cost]]

    @property
    def of_pages(self) -> Iterator[tuple[str, Cost, Cost]]:
        return ((name, *both) for name, both in self.found.items() if name not in HOLDS_ALL)


STILL_MORE = pytest.mark.long(
    "the same of a larger crowd; "
    "tests/pages/test_hundredfold.py::test_a_page_asks_no_more_of_the_database_for_more_animals"
)


@pytest.fixture(scope="module", params=[100, pytest.param(1000, marks=STILL_MORE)])
def costs(
    untouched_database: str, django_db_blocker: DjangoDbBlocker, request: pytest.FixtureRequest
) -> Iterator[Costs]:
    cost = partial(timed, times=TIMES[request.param])
    if not request.config.getoption("--all"):
        cost = counted
    with own_copy(untouched_database, django_db_blocker):
        stage = set_stage()
        grow(stage, SMALL)
        everything(stage)["page animals"]()  # what a process keeps it has from then on
        whose = turns(request.config, SHARE)
        few = {name: cost(asked) for name, asked in everything(stage).items() if next(whose)}
        grow(stage, request.param)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")  # as PostgreSQL does by itself after a while
        asked_again = everything(stage)
        many = {name: cost(asked_again[name], few[name]) for name in few}
        yield Costs(request.param, {name: (few[name], many[name]) for name in few})


def everything(stage: Stage) -> dict[str, Ask]:
    """By name, every page opened and every operation done by the owner."""
    cache.clear()
    sign_checkpoint(timezone.now())  # as the worker does: whoever signs first takes in what is new
    browser = Client()
    browser.force_login(stage.world.odile)
    pages = {f"page {name}": partial(visited, browser, stage, name) for name in NAMES}
    return pages | {str(row): partial(ask, stage, row, "owner") for row in ROWS}


def visited(browser: Client, stage: Stage, name: str) -> HttpResponseBase:
    """The page; of one that takes a form only, its answer to an empty one. What it changed is
    undone."""
    path = address(name, ids_for(name, stage))
    with transaction.atomic():
        answer: HttpResponseBase = browser.get(path)
        if answer.status_code == 302:
            answer = browser.post(path, {})
        transaction.set_rollback(True)
    return answer


def counted(asked: Ask, few: Cost | None = None) -> Cost:
    """The questions alone, where nothing is kept of what was asked before."""
    cache.clear()  # nor do the throttles count on: what is turned away costs nothing
    return run(asked)


def timed(asked: Ask, few: Cost | None = None, *, times: int) -> Cost:
    """The time is the median of three runs; with many animals of one, where that is well within
    what ``few`` allow, else of five."""
    queries, runs = counted(asked).queries, [run(asked)]
    while len(runs) < (5 if few else 3) and not (few and time_of(runs) <= times * few.seconds / 2):
        runs.append(run(asked))
    return Cost(queries, time_of(runs))


def time_of(runs: list[Cost]) -> float:
    return median(one.seconds for one in runs)


def run(asked: Ask) -> Cost:
    connection.queries_log.clear()  # else it is full after a while
    with CaptureQueriesContext(connection) as found:
        took = seconds(asked)
        asked_for = len(found)  # within the block: whoever asks next empties the log of queries
    return Cost(asked_for, took)


def seconds(asked: Ask) -> float:
    gc.disable()  # it would look through all that the tests have made
    began = time.process_time()
    answer = asked()
    took = time.process_time() - began
    gc.enable()
    assert answer.status_code not in {429, 500}, asked
    return took


def test_a_page_asks_no_more_of_the_database_for_more_animals(costs: Costs) -> None:
    assert len(costs.found) > len([*NAMES, *ROWS]) // SHARE - 1
    more = {
        name: f"{few.queries}, {many.queries} queries"
        for name, few, many in costs.of_pages
        if many.queries - few.queries > MORE_QUERIES
    }
    assert more == {}


@pytest.mark.long(
    "it compares times of the process, which a busy machine bends; "
    "tests/pages/test_hundredfold.py::test_a_page_asks_no_more_of_the_database_for_more_animals"
)
def test_nor_does_it_take_much_longer(costs: Costs) -> None:
    longer = {
        name: f"{1000 * few.seconds:.0f}, {1000 * many.seconds:.0f} ms"
        for name, few, many in costs.of_pages
        if many.seconds > TIMES[costs.crowd] * few.seconds
    }
    assert longer == {}
