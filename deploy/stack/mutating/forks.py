"""A pytest plugin: collects once, then runs the tests of each mutant in a process of its own.

It reads jobs from the file named by ``MUTANTS_JOBS``, one JSON object a line, and answers in
``MUTANTS_RESULTS`` alike. Code is put in place in the forked process alone.
"""

import json
import os
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import pytest
from _pytest.runner import runtestprotocol
from django.core.cache import cache
from django.db import connections

from stack.mutating import NOT_A_VERDICT

KILLED, SURVIVED, BROKEN = 1, 0, 3
"""What a child ends with. Broken: neither a test failed nor did all pass."""


def pytest_runtestloop(session: pytest.Session) -> bool:
    items = {item.nodeid: item for item in session.items}
    jobs = Path(os.environ["MUTANTS_JOBS"]).read_text(encoding="utf-8").splitlines()
    with Path(os.environ["MUTANTS_RESULTS"]).open("a", encoding="utf-8") as results:
        _warm_up(session, items)
        for job in map(json.loads, jobs):
            print(json.dumps(_verdict(job, items)), file=results, flush=True)
    return True


def _warm_up(session: pytest.Session, items: Mapping[str, pytest.Item]) -> None:
    """Servers started and the database migrated, by a test that needs them; none is open after."""
    first = next(one for name, one in items.items() if "tests/intake/" in name)
    spare = next(one for one in items.values() if one is not first)
    first.config.hook.pytest_runtest_protocol(item=first, nextitem=spare)
    cache.close()
    for one in connections.all(initialized_only=True):
        one.close()
        one.close_pool()  # type: ignore[attr-defined]


def _verdict(job: dict[str, Any], items: Mapping[str, pytest.Item]) -> dict[str, Any]:
    """The job with ``verdict``, ``by`` (the test) and ``seconds``."""
    began = time.monotonic()
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        os.setpgid(0, 0)
        os._exit(_child(job, [items[one] for one in job["tests"] if one in items], writing))
    os.close(writing)
    status = _wait(child, job["seconds"])
    with os.fdopen(reading, encoding="utf-8") as pipe:
        by = pipe.read()
    names = {KILLED: "killed", SURVIVED: "survived", None: "timeout"}
    seconds = round(time.monotonic() - began, 1)
    return job | {"verdict": names.get(status, "broken"), "by": by, "seconds": seconds}


def _wait(child: int, seconds: float) -> int | None:
    """The child's end; None where it was stopped because it took too long."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _child(job: dict[str, Any], items: list[pytest.Item], writing: int) -> int:
    try:
        if not items:
            return BROKEN
        if job.get("code"):
            put_in_place(job["module"], job["name"], job["code"])
        cache.clear()
        items[0].session._setupstate.teardown_exact(items[0])
        for item, later in zip(items, [*items[1:], items[-1]], strict=True):
            failed = _failure(item, later)
            if failed is not None:
                os.write(writing, f"{item.nodeid}\n{failed[-600:]}".encode())
                return BROKEN if any(one in failed for one in NOT_A_VERDICT) else KILLED
    except BaseException:
        os.write(writing, traceback.format_exc()[-1500:].encode())
        return BROKEN
    return SURVIVED


def _failure(item: pytest.Item, later: pytest.Item) -> str | None:
    """Why the test failed; None where it passed. What lasts for the session stays for ``later``."""
    reports = runtestprotocol(item, nextitem=later, log=False)
    failed = [one for one in reports if one.failed]
    return str(failed[0].longrepr) if failed else None


def put_in_place(module: str, name: str, source: str) -> None:
    """Have the function ``name`` of the loaded ``module`` run as ``source`` has it.

    Raises:
        LookupError: it is not there.
    """
    loaded = sys.modules[module]
    old = _function(loaded, name)
    with warnings.catch_warnings(action="ignore"):  # of `is` beside a literal
        code = compile(source, loaded.__file__ or module, "exec")
    old.__code__ = _code_of(code, name.split("."))


def _function(module: ModuleType, name: str) -> FunctionType:
    found: Any = module
    for part in name.split("."):
        found = vars(found)[part]
    found = getattr(found, "fget", found)
    while hasattr(found, "__wrapped__"):
        found = found.__wrapped__
    if not isinstance(found, FunctionType):
        raise LookupError(name)
    return found


def _code_of(code: CodeType, path: list[str]) -> CodeType:
    for part in path:
        code = next(one for one in _codes(code) if one.co_name == part)
    return code


def _codes(code: CodeType) -> Iterator[CodeType]:
    return (one for one in code.co_consts if isinstance(one, CodeType))
