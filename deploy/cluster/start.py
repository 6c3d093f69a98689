"""The cluster on this machine, until Ctrl-C: ``./deploy/cluster/start``."""

import argparse
import os
import signal
import sys
from pathlib import Path
from types import FrameType

from cluster import parts
from cluster.trial import NotReady, trial

FOLDER = Path("/var/tmp/scalewitness-cluster")  # noqa: S108  one at a time; root's own


def folder_for(arguments: argparse.Namespace) -> Path:
    """Where its data go, once this machine is seen to be able to run it."""
    if os.geteuid() != 0:
        sys.exit("Network namespaces are for root: run this as root.")
    if lacking := parts.missing():
        sys.exit(f"Install first: apt-get install {' '.join(lacking)}")
    if not parts.patroni_runs():
        sys.exit(f"The account postgres cannot run {parts.PATRONI}: lay the checkout elsewhere.")
    return Path(arguments.folder)


def options(description: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--folder", default=FOLDER, help="emptied first; default: %(default)s")
    return parser


def say(text: str) -> None:
    print(text, flush=True)


def interrupted(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def main() -> int:
    folder = folder_for(options("Start the cluster on this machine.").parse_args())
    signal.signal(signal.SIGTERM, interrupted)
    try:
        with trial(folder) as made:
            made.start(say)
            say(f"All is up; logs and secrets are in {folder}. Ctrl-C ends it.")
            signal.pause()
    except NotReady as reason:
        say(str(reason))
        return 1
    except KeyboardInterrupt:
        return 0
    return 0


if __name__ == "__main__":
    sys.exit(main())
