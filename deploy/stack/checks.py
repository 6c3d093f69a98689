"""Every check of the project: ``./deploy/test``; with arguments, pytest alone.

All checks run even after one has failed, so that one run tells everything. ``--all`` by itself
is every check too, with the long fault tests among the tests.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext

import psutil

from stack.local import ROOT

DENO = ("--config", "clients/deno.json")
SCRIPTS = ("clients/rackside/**/*.js", "server/scalewitness/pages/static/**/*.js")

PROCESSES = str((psutil.cpu_count(logical=False) or 1) + 1)
"""For the tests: one more than cores, as each waits for what it started a quarter of the time."""

CHECKS = (
    ("lint", ["ruff", "check", "."]),
    ("format", ["ruff", "format", "--check", "."]),
    ("types", ["mypy"]),
    ("layers", ["lint-imports"]),
    ("js-lint", ["deno", "lint", *DENO, *SCRIPTS]),
    ("js-type", ["deno", "check", "--no-remote", *DENO, *SCRIPTS]),
    ("js-form", ["deno", "fmt", "--check", *DENO, *SCRIPTS]),
    # A file stays with one process; they are begun in the order of tests/plugins/longest_first.py.
    ("tests", ["pytest", "-n", PROCESSES, "--dist", "loadfile", "--no-loadscope-reorder"]),
)

COMPILING = ["pytest", "--collect-only", "-qq", "-p", "no:xdist", "-p", "no:cacheprovider"]
"""Imports every test and leaves it compiled."""

LIGHT = "chromium-headless-shell"
BROWSERS = (LIGHT, "chromium", "chromium-browser", "google-chrome")
"""The first that is there runs the tests. `LIGHT` is the same engine without the windows and menus
around it, which take four times the processor's time of the page."""


def main(arguments: Sequence[str]) -> int:
    """Run what was asked for; returns 0 when all of it passed."""
    parts = ("server", "clients", "deploy", ".")
    os.environ["PYTHONPATH"] = os.pathsep.join(str(ROOT / part) for part in parts)
    os.environ |= {"DENO_DIR": str(ROOT / ".run" / "deno"), "DENO_NO_UPDATE_CHECK": "1"}
    # The tests start hundreds of processes, and each would compile the project's modules anew.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.chdir(ROOT)
    checks = asked_for(arguments)
    ensure_browser(may_install=len(checks) > 1)
    began = time.monotonic()
    *others, (name, tests) = checks
    with compiling_ahead() if others else nullcontext():
        results = [(other, *timed(other, command)) for other, command in others]
    results.append((name, *timed(name, tests)))
    print()
    for name, status, seconds in results:
        print(f"{name:>7}  {'passed' if status == 0 else f'FAILED ({status})'}  {seconds:.1f} s")
    print(f"{'all':>7}  {time.monotonic() - began:.1f} s", flush=True)
    return next((status for _, status, _ in results if status), 0)


def asked_for(arguments: Sequence[str]) -> Sequence[tuple[str, list[str]]]:
    """Names and commands."""
    if list(arguments) == ["--all"]:
        *others, (name, tests) = CHECKS
        return [*others, (name, [*tests, "--all"])]
    return [("tests", ["pytest", *arguments])] if arguments else CHECKS


@contextmanager
def compiling_ahead() -> Iterator[None]:
    """Meanwhile: on a fresh checkout each of the tests' processes would compile all of it at once,
    and the other checks need one core. What fails here fails in the tests, which say so."""
    quiet = subprocess.DEVNULL
    process = subprocess.Popen(COMPILING, stdin=quiet, stdout=quiet, stderr=quiet)
    try:
        yield
        process.wait()
    finally:
        process.kill()


def timed(name: str, command: list[str]) -> tuple[int, float]:
    """Run one check with its output shown: status and seconds."""
    print(f"\n== {name}: {' '.join(command)}", flush=True)
    began = time.monotonic()
    status = subprocess.run(command, stdin=subprocess.DEVNULL, check=False).returncode
    return status, time.monotonic() - began


def ensure_browser(may_install: bool) -> None:
    """See to a Chromium for the browser tests; say so when there is none, as they will fail."""
    if shutil.which(LIGHT):
        return
    found = any(shutil.which(browser) for browser in BROWSERS)
    if may_install and os.geteuid() == 0 and shutil.which("apt-get"):
        print(f"== browser: installing {LIGHT} with apt-get", flush=True)
        if not found:
            install(["apt-get", "update", "-q"])
        install(["apt-get", "install", "-q", "-y", "--no-install-recommends", LIGHT])
        found = any(shutil.which(browser) for browser in BROWSERS)
    if not found:
        print(f"No browser found: tests in one will fail. On Debian: apt-get install {LIGHT}")


def install(command: list[str]) -> None:
    """Run one step of an installation; a failure shows in its output, and in the tests."""
    env = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run(command, env=env, stdin=subprocess.DEVNULL, check=False)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
