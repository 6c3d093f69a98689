"""The command already loaded: that takes longer than most of what the tests ask of it.

One process has loaded it and forks itself for every command, which runs alone in a process of its
own, with its own folder, environment, clock and standard streams.
"""

import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

LOADED = """
import json, os, sys, time, traceback

clock = {"off": 0.0, "fast": 1.0}
right, since, rest = time.time, time.monotonic, time.sleep
time.time = lambda: right() + clock["off"]
time.monotonic = lambda: since() * clock["fast"]
time.sleep = lambda seconds: rest(seconds / clock["fast"])

from scalewitness_cli.main import cli

def run(asked):
    clock.update(asked["clock"])
    for number, name in enumerate(asked["streams"]):
        os.dup2(os.open(name, os.O_RDWR), number)
    sys.stdin, sys.stdout, sys.stderr = open(0), open(1, "w"), open(2, "w")
    os.chdir(asked["home"])
    os.environ.clear()
    os.environ.update(asked["env"])
    try:
        cli(asked["arguments"], prog_name="scalewitness")
    except SystemExit as end:
        return end.code or 0
    except BaseException:
        traceback.print_exc()
        return 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()

for line in sys.stdin:
    child = os.fork()
    if not child:
        os._exit(run(json.loads(line)))
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


class Loaded:
    """The loaded command; its streams are files in ``folder``. One command at a time."""

    def __init__(self, folder: Path, env: Mapping[str, str]) -> None:
        folder.mkdir()
        self._streams = [folder / one for one in ("in", "out", "err")]
        self._process = subprocess.Popen(
            [sys.executable, "-c", LOADED],
            env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def run(
        self, arguments: Sequence[str], home: Path, env: Mapping[str, str], type: str,
        off: float, fast: float,
    ) -> tuple[int, str, str]:  # fmt: skip
        """Status, output and errors of a command, on a computer whose clock is ``off`` (how long
        ago it was started is not) and whose waits are ``fast`` times as soon over."""
        for file, text in zip(self._streams, (type, "", ""), strict=True):
            file.write_text(text, encoding="utf-8")
        asked = {
            "arguments": arguments,
            "home": str(home),
            "env": dict(env),
            "clock": {"off": off, "fast": fast},
            "streams": [str(file) for file in self._streams],
        }
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        status = int(self._process.stdout.readline())
        _, out, err = (file.read_text(encoding="utf-8") for file in self._streams)
        return status, out, err

    def close(self) -> None:
        with self._process:
            self._process.kill()
