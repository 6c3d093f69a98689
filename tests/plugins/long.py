"""Long fault tests run with ``--all``: each names the quicker test of the same promise.

``@pytest.mark.long("why it takes so long; which test proves it in the ordinary suite")``. They
are deselected otherwise, and every run says how many were. Hypothesis draws three times as many
examples then, where a test does not say how many.
"""

from collections.abc import Generator
from typing import Any

import pytest
from hypothesis import settings as hypothesis

LEFT_OUT = pytest.StashKey[int]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--all", action="store_true", help="Run the long fault tests too.")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "long(why): run with --all only; says what proves it else")
    if config.getoption("--all"):
        hypothesis.register_profile("all", deadline=None, max_examples=300)
        hypothesis.load_profile("all")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    long = [one for one in items if one.get_closest_marker("long")]
    for one in long:
        assert one.get_closest_marker("long").args, f"{one.nodeid}: say why it is long"  # type: ignore[union-attr]
    if long and not config.getoption("--all"):
        items[:] = [one for one in items if one not in long]
        config.hook.pytest_deselected(items=long)
        config.stash[LEFT_OUT] = len(long)


@pytest.hookimpl(wrapper=True)
def pytest_sessionfinish(session: pytest.Session) -> Generator[None, object, object]:
    if (output := getattr(session.config, "workeroutput", None)) is not None:
        output["left_out"] = session.config.stash.get(LEFT_OUT, 0)
    return (yield)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """With several processes, each of them says how many; they all collect the same."""
    found = getattr(node, "workeroutput", {}).get("left_out", 0)
    node.config.stash[LEFT_OUT] = max(found, node.config.stash.get(LEFT_OUT, 0))


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    if number := config.stash.get(LEFT_OUT, 0):
        terminalreporter.write_line(f"{number} long tests left out: --all runs them too.")
