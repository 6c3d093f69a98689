"""What many tests of a file begin with, told once for all of them.

``@told_once`` in place of ``@pytest.fixture`` says so of a fixture that is made from the world, and
from others like it, and from nothing else. What it does is done within a transaction around those
of the tests, which are run one after the other; each begins with what was told, as a copy of its
own, and what it says itself is rolled back as ever.
"""

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from inspect import Parameter, signature
from itertools import groupby
from typing import Any

import pytest
from django.db import connections, transaction

Made = pytest.FixtureDef[Any]


def told_once(tell: Callable[..., Any]) -> Any:
    """A fixture; see above. A test may do with it as it likes."""

    def given(request: pytest.FixtureRequest, **others: object) -> Any:
        if STORY.fault:
            raise STORY.fault
        return STORY.copies[request.fixturename or ""]

    asked = signature(tell)
    of_pytest = Parameter("request", Parameter.POSITIONAL_OR_KEYWORD)
    given.__signature__ = asked.replace(  # type: ignore[attr-defined]
        parameters=[of_pytest, *asked.parameters.values()]
    )
    given.__doc__, given.tell = tell.__doc__, tell  # type: ignore[attr-defined]
    return pytest.fixture(given, name=tell.__name__)


def story_of(item: pytest.Item | None) -> tuple[Made, ...]:
    """What has to be told before the test, each after what it is made from."""
    known: dict[str, Any] = item._fixtureinfo.name2fixturedefs if item else {}
    found: dict[str, Made] = {}

    def add(name: str) -> None:
        made = known[name][-1]
        for needed in _needs(made):
            add(needed)
        found.setdefault(name, made)

    for name in getattr(item, "fixturenames", ()):
        if name in known and hasattr(known[name][-1].func, "tell"):
            add(name)
    return tuple(found.values())


def _needs(made: Made) -> list[str]:
    """Of what it is made; of the world itself all was told already."""
    if hasattr(made.func, "tell"):
        return [one for one in made.argnames if one not in {"request", "db"}]
    assert {*made.argnames} <= {"db", "told_at_start", "told_a_month_ago"}, made.argname
    return []


@dataclass(frozen=True)
class Part:
    """``told``: what there is by then, by name; what is told later changes a copy."""

    made: Made
    within: transaction.Atomic
    told: dict[str, Any]


class Story:
    """``parts``: what was told so far. ``copies``: what of it the present test has, by name;
    ``fault``: why it has nothing."""

    def __init__(self) -> None:
        self.parts: list[Part] = []
        self.copies: dict[str, Any] = {}
        self.fault: Exception | None = None
        self.next: tuple[Made, ...] = ()

    def tell(self, wanted: tuple[Made, ...], request: pytest.FixtureRequest) -> None:
        self.leave_but(wanted)
        try:
            for made in wanted[len(self.parts) :]:
                self._tell(made, request)
        except Exception as fault:
            self.leave_but(())
            self.fault = fault
        self.copies = self._so_far()

    def _so_far(self) -> dict[str, Any]:
        return deepcopy(self.parts[-1].told) if self.parts else {}

    def _tell(self, made: Made, request: pytest.FixtureRequest) -> None:
        told = self._so_far()
        within = transaction.atomic()
        within._from_testcase = True  # type: ignore[attr-defined]
        within.__enter__()
        self.parts.append(Part(made, within, told))
        given = {
            name: told[name] if name in told else _from_outside(name, request)
            for name in made.argnames
            if name != "request"
        }
        told[made.argname] = getattr(made.func, "tell", made.func)(**given)
        connections["default"].check_constraints()
        connections["default"].run_on_commit.clear()  # as in a test: nobody is woken

    def leave_but(self, wanted: tuple[Made, ...]) -> None:
        """What those do not begin with is as if it had not been told."""
        self.copies, self.fault = {}, None
        while [one.made for one in self.parts] != list(wanted[: len(self.parts)]):
            transaction.set_rollback(True)
            self.parts.pop().within.__exit__(None, None, None)


STORY = Story()


def _from_outside(name: str, request: pytest.FixtureRequest) -> object:
    return None if name == "db" else request.getfixturevalue(name)


def begin(request: pytest.FixtureRequest, stays: bool = True) -> None:
    """Before the transaction of a test begins, in the database where it will; ``stays`` false where
    the next test's will begin in another."""
    wanted = story_of(request.node)
    if not wanted:
        return
    blocker = request.getfixturevalue("django_db_blocker")

    def leave() -> None:
        with blocker.unblock():
            STORY.leave_but(STORY.next if stays else ())

    with blocker.unblock():
        STORY.tell(wanted, request)
    request.addfinalizer(leave)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    STORY.next = story_of(nextitem)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests of a file that begin with the same are run one after the other."""
    files = groupby(items[:], key=lambda one: one.nodeid.partition("::")[0])
    items[:] = [one for _, of_file in files for one in _by_story(of_file)]


def _by_story(items: Iterator[pytest.Item]) -> list[pytest.Item]:
    stories: dict[tuple[str, ...], list[pytest.Item]] = {}
    for item in items:
        story = tuple(one.argname for one in story_of(item))
        stories.setdefault(story, []).append(item)
    return [one for story in stories.values() for one in story]
