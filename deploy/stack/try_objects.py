"""Photos in a bucket of a real object store: ``./deploy/try_objects``.

Starts Swift, from Debian's packages, and runs the tests of photos in a bucket against it, which
the ordinary suite runs against a stand-in. ``--at 'ADDRESS KEY SECRET'`` tries another store: it
makes buckets there and deletes them again.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from stack.local import ROOT
from stack.supervisor import Interrupted, ProcessFailed, Supervisor
from stack.swift import Swift, missing

TESTS = "tests/object_store"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run them; returns pytest's exit status, or 1."""
    given, more = _parse(arguments)
    if not given.at and (wanted := missing()):
        print(f"This takes Swift: {wanted}", file=sys.stderr)
        return 1
    try:
        with _store(given.at) as store:
            parts = os.pathsep.join(str(ROOT / one) for one in ("server", "clients", "deploy", "."))
            tests = [sys.executable, "-m", "pytest", TESTS, *more]
            env = os.environ | {"OBJECT_STORE": store, "PYTHONPATH": parts}
            return subprocess.run(tests, env=env, cwd=ROOT, check=False).returncode
    except (ProcessFailed, Interrupted, OSError) as fault:
        print("\n".join([str(fault), *getattr(fault, "__notes__", ())]), file=sys.stderr)
        return 1


def _parse(arguments: Sequence[str] | None) -> tuple[argparse.Namespace, list[str]]:
    parser = argparse.ArgumentParser(
        prog="./deploy/try_objects",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="Other arguments go to pytest.",
    )
    parser.add_argument("--at", metavar="'ADDRESS KEY SECRET'", help="another store than Swift")
    return parser.parse_known_args(arguments)


@contextmanager
def _store(at: str | None) -> Iterator[str]:
    if at:
        yield at
        return
    with (
        tempfile.TemporaryDirectory(prefix="scalewitness-objects-") as folder,
        Supervisor(Path(folder), lambda name, text: print(f"{name}: {text}")) as supervisor,
    ):
        swift = Swift(Path(folder) / "swift")
        for service in swift.services():
            supervisor.start(service)
        yield f"{swift.address} {swift.key} {swift.secret}"


if __name__ == "__main__":
    sys.exit(main())
