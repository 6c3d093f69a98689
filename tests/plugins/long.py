"""Long fault tests run with ``--all``: each names the quicker test of the same promise.

``@pytest.mark.long("why it takes so long; which test proves it in the ordinary suite")``. They
are deselected otherwise, and every run says how many were. Hypothesis draws three times as many
examples then, where a test does not say how many.

``@pytest.mark.some(5)`` beside ``parametrize``: of the cases, which are alike, an ordinary run asks
five, others with each seed of pytest-randomly's; ``besides=`` names those it always asks.
``pytestmark = pytest.mark.one_in(3)``: of the tests of a file it asks one in three; always those
that prove a long one, those that are marked ``one_in(1)``, and those whose name says that they
prove what must never happen. A case asked for by its name is run.
"""

import math
import re
from collections.abc import Generator, Iterable, Iterator, Sequence, Set
from hashlib import sha256
from itertools import chain
from typing import Any

import pytest
from hypothesis import settings as hypothesis

PROMISED = re.compile(r"blind|forged|altered|erased")
"""In the name of a test: it is always asked."""
LEFT_OUT = pytest.StashKey[dict[str, int]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--all", action="store_true", help="Run the long fault tests too.")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "long(why): run with --all only; says what proves it else")
    config.addinivalue_line("markers", "some(number): so many of its cases; with --all every one")
    config.addinivalue_line("markers", "one_in(share): of its file's tests; with --all every one")
    config.stash[LEFT_OUT] = {}
    if config.getoption("--all"):
        hypothesis.register_profile("all", deadline=None, max_examples=300)
        hypothesis.load_profile("all")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    long = [one for one in items if one.get_closest_marker("long")]
    for one in long:
        assert one.get_closest_marker("long").args, f"{one.nodeid}: say why it is long"  # type: ignore[union-attr]
    if config.getoption("--all"):
        return
    short = [one for one in items if one not in long]
    needed = are_proved_without(long, {test_of(one) for one in short})
    left = {"long tests": long}
    if not any(one.endswith("]") for one in config.args):
        left["others"] = [*beyond(short, int(config.getoption("randomly_seed", 0)), needed)]
    gone = set(chain(*left.values()))
    items[:] = [one for one in items if one not in gone]
    config.hook.pytest_deselected(items=[*gone])
    config.stash[LEFT_OUT] = {what: len(found) for what, found in left.items()}


def test_of(item: pytest.Item) -> str:
    """Its name without that of the case."""
    return item.nodeid.partition("[")[0]


def are_proved_without(long: Sequence[pytest.Item], short: set[str]) -> set[str]:
    """The ordinary tests that they name, where these are among those collected."""
    files = {one.partition("::")[0] for one in short}
    found = set()
    for one in long:
        why = " ".join(one.get_closest_marker("long").args)  # type: ignore[union-attr]
        for named in re.findall(r"tests/\S+::\w+", why):
            if named.partition("::")[0] in files and named not in short:
                raise pytest.UsageError(f"{one.nodeid} is to be proved by {named}, long itself")
            found.add(named)
    return found


def beyond(
    items: Sequence[pytest.Item], seed: int, needed: Set[str] = frozenset()
) -> Iterator[pytest.Item]:
    """Of the tests and cases that some are asked of, the others, by this seed; none of those
    ``needed``."""
    cases: dict[str, list[pytest.Item]] = {}
    tests: dict[tuple[str, int], dict[str, list[pytest.Item]]] = {}
    for one in items:
        if one.get_closest_marker("some"):
            cases.setdefault(test_of(one), []).append(one)
        file, _, name = test_of(one).partition("::")
        mark: Any = one.get_closest_marker("one_in")
        if mark and test_of(one) not in needed and not PROMISED.search(name):
            tests.setdefault((file, mark.args[0]), {}).setdefault(name, []).append(one)
    for of_test in cases.values():
        yield from _cases_beyond(of_test, seed)
    for (_, share), of_file in tests.items():
        asked = math.ceil(len(of_file) / share)
        yield from chain(*(of_file[name] for name in drawn(of_file, seed)[asked:]))


def _cases_beyond(of_test: Sequence[pytest.Item], seed: int) -> Iterator[pytest.Item]:
    mark: Any = of_test[0].get_closest_marker("some")
    named = mark.kwargs.get("besides", ())
    alike = {one.nodeid: one for one in of_test if one.nodeid[:-1].partition("[")[2] not in named}
    yield from (alike[name] for name in drawn(alike, seed)[mark.args[0] :])


def drawn(names: Iterable[str], seed: int) -> list[str]:
    return sorted(names, key=lambda one: sha256(f"{seed} {one}".encode()).digest())


@pytest.hookimpl(wrapper=True)
def pytest_sessionfinish(session: pytest.Session) -> Generator[None, object, object]:
    if (output := getattr(session.config, "workeroutput", None)) is not None:
        output["left_out"] = session.config.stash[LEFT_OUT]
    return (yield)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """With several processes, each of them says how many; they all collect the same."""
    node.config.stash[LEFT_OUT] |= getattr(node, "workeroutput", {}).get("left_out", {})


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    left = " and ".join(
        f"{number} {what}" for what, number in config.stash[LEFT_OUT].items() if number
    )
    if left:
        terminalreporter.write_line(f"{left} left out: --all runs them too.")
