"""The operator's commands on the demo's database: ``./deploy/manage COMMAND ...``.

Such as `./deploy/manage replay`. The demo may be running or not. With a service of your own,
run `python -m scalewitness COMMAND` in the environment of its processes instead.
"""

import os
import subprocess
import sys
from pathlib import Path

from stack.dumps import NoDatabase, local_server
from stack.local import LOG_MEMORY, ROOT, settings_of
from stack.supervisor import Interrupted, ProcessFailed


def main(arguments: list[str]) -> int:
    """Run one command; returns its status."""
    data = ROOT / ".run" / "demo"
    if arguments[:1] == ["--data"]:
        data, arguments = Path(arguments[1]), arguments[2:]
    if not arguments:
        print("usage: ./deploy/manage [--data DIR] COMMAND ...", file=sys.stderr)
        return 2
    try:
        with local_server(data) as server:
            environment = os.environ | settings_of(data.resolve(), 8000, os.environ)
            environment |= {"DATABASE_URL": server.app_url(), "REDIS_URL": "redis://127.0.0.1:1/0"}
            environment["LOG_MEMORY"] = str(data.resolve() / LOG_MEMORY)
            command = [sys.executable, "-m", "scalewitness", *arguments]
            return subprocess.run(command, env=environment, check=False).returncode
    except (NoDatabase, ProcessFailed, Interrupted, OSError) as fault:
        print(fault, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
