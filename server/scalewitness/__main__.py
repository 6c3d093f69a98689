"""``python -m scalewitness COMMAND``: the operator's way in."""

import os
import sys

from django.core.management import execute_from_command_line


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
    os.environ["SCALEWITNESS_PROCESS"] = "command"
    execute_from_command_line(["python -m scalewitness", *sys.argv[1:]])


if __name__ == "__main__":
    main()
