"""The demo: ``./deploy/demo``.

Brings the whole service up on this machine, loads the scenario and stays until Ctrl-C. With
``--once`` it plays the stories against the running service instead and ends with their status.
"""

import argparse
import json
import os
import sys
import urllib.request
from collections.abc import Sequence
from pathlib import Path

from stack.local import ROOT, LocalStack
from stack.ready import port_is_free
from stack.runfolder import FolderBusy, RunFolder
from stack.supervisor import Interrupted, ProcessFailed, Supervisor

COLOURS = {"postgres": 34, "valkey": 31, "mail": 35, "web": 32, "worker": 33}

FENCED = """
The log is fenced: it was restored, or does not continue what was signed. It can be read, and
takes nothing until ./deploy/manage adopt FILE... finds it whole. Nothing is loaded into it."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the demo; returns the exit status."""
    given = _parse(arguments)
    try:
        folder = RunFolder(given.data)
    except FolderBusy as busy:
        other = "Stop it, or give another folder and port: --data DIR --port N."
        return _refuse(f"A demo already holds {given.data} ({busy}). {other}")
    except NotADirectoryError as reason:
        return _refuse(f"{reason}. Give --data an empty or new folder.")
    except PermissionError as reason:
        return _refuse(f"{reason}: the folder is another user's. Give --data one of your own.")
    if not port_is_free(given.port):
        return _refuse(f"Port {given.port} is taken on 127.0.0.1. Give another: --port N.")
    if given.once and os.environ.get("EMAIL_URL"):
        return _refuse("--once reads the letters it causes, so it cannot use your EMAIL_URL.")
    if given.fresh:
        folder.clear(keep_log=bool(os.environ.get("DATABASE_URL")))
        if os.environ.get("DATABASE_URL"):
            print("--fresh leaves the database of your DATABASE_URL as it is.", flush=True)
    return _supervise(folder, given.port, given.once)


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="./deploy/demo", description=__doc__)
    parser.add_argument("--once", action="store_true", help="play the stories, then stop")
    parser.add_argument("--fresh", action="store_true", help="delete the demo's data first")
    parser.add_argument("--port", type=int, default=8000, help="where to serve (8000)")
    parser.add_argument(
        "--data", type=Path, default=ROOT / ".run" / "demo", help="where data is kept (.run/demo)"
    )
    return parser.parse_args(arguments)


def _refuse(why: str) -> int:
    print(why, file=sys.stderr)
    return 2


def _supervise(folder: RunFolder, port: int, once: bool) -> int:
    given = dict(os.environ)
    # The owner's address is for `migrate` alone; what runs all day must not inherit it.
    os.environ.pop("DATABASE_OWNER_URL", None)
    folder.note(f"process {os.getpid()}, http://127.0.0.1:{port}")
    for name in folder.stopped:
        _say(name, "was left over from a run that was killed; stopped")
    with Supervisor(folder.path, _say, held=[folder.lock]) as supervisor:
        supervisor.listen()
        try:
            return _run(LocalStack(supervisor, folder.path, port, given), once)
        except Interrupted as signalled:
            print(f"\n{signalled}: stopping.", flush=True)
            return 128 + signalled.number
        except ProcessFailed as failure:
            _explain(failure, supervisor.log(failure.name))
            return failure.status


def _run(stack: LocalStack, once: bool) -> int:
    stack.start()
    if is_fenced(stack.url):
        print(FENCED, flush=True)
        return 2 if once else _stay(stack)
    where = ("--url", stack.url, "--maildir", str(stack.maildir))
    stack.run("load", "fixtures_demo.load", *where, shown=True)
    if once:
        stack.run("stories", "fixtures_demo.stories", *where, shown=True)
        return 0
    return _stay(stack)


def is_fenced(url: str) -> bool:
    """Whether the running service says that its log is fenced."""
    with urllib.request.urlopen(f"{url}/health/ready", timeout=10) as answer:  # noqa: S310  ours
        return bool(json.load(answer)["log"] == "fenced")


def _stay(stack: LocalStack) -> int:
    _welcome(stack)
    try:
        stack.supervisor.serve()
    except Interrupted:
        print("\nStopping. The data stays where it is.", flush=True)
    return 0


def _welcome(stack: LocalStack) -> None:
    print(f"\nScalewitness runs at {stack.url}/")
    print(f"  API documents  {stack.url}/api/v1/docs")
    if stack.maildir is not None:
        print(f"  letters sent   {_short(stack.maildir)}/new, a file each")
    print(f"  logs           {_short(stack.supervisor.logs)}")
    print(f"  a messy list   fixtures_demo/lists/animals.xlsx, for {stack.url}/import")
    print("Ctrl-C stops it.", flush=True)


def _explain(failure: ProcessFailed, log: Path) -> None:
    print(f"\n{failure}", file=sys.stderr)
    for line in failure.lines:
        print(f"  {failure.name} | {line}", file=sys.stderr)
    if failure.lines:
        print(f"The whole of it: {_short(log)}", file=sys.stderr)


def _say(name: str, text: str) -> None:
    colour = COLOURS.get(name)
    label = f"{name:>9}"
    if colour and sys.stdout.isatty() and "NO_COLOR" not in os.environ:
        label = f"\033[{colour}m{label}\033[0m"
    print(f"{label} | {text}", flush=True)


def _short(path: Path) -> str:
    """A path as seen from here, when it lies below."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_relative_to(here) else path)


if __name__ == "__main__":
    sys.exit(main())
