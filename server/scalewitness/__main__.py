"""``python -m scalewitness COMMAND``, or ``scalewitness-server COMMAND``: the operator's way in."""

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line

from scalewitness import __version__, env_file
from scalewitness.operating.results import Result, shown
from scalewitness.serving.logs import log_what_nobody_caught
from scalewitness.setting_up import command

WITHOUT_SETTINGS: Final[Mapping[str, Callable[[Sequence[str]], int]]] = {
    "init": command.init,
    "new_log_key": command.new_log_key,
    "env_example": command.env_example,
}
"""What works before there are any."""


def main() -> None:
    if sys.argv[1:] == ["--version"]:
        print(f"scalewitness-server {__version__}")  # noqa: T201  what was asked for
        return
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
    os.environ["SCALEWITNESS_PROCESS"] = "command"
    name, *arguments = sys.argv[1:] or ["help"]
    if name in WITHOUT_SETTINGS:
        sys.exit(WITHOUT_SETTINGS[name](arguments))
    try:
        env_file.load_for_operator(os.environ)
        settings.INSTALLED_APPS  # noqa: B018  reads them: what is wrong is told in one line
    except (env_file.BadEnvFile, ImproperlyConfigured) as fault:
        _tell(str(fault), as_json=name == "check" and "--json" in arguments)
        sys.exit(1)
    log_what_nobody_caught()
    execute_from_command_line(["python -m scalewitness", name, *arguments])


def _tell(fault: str, *, as_json: bool) -> None:
    todo = "put it right; scalewitness-server init sets up a new service"
    result = Result("settings", "wrong", fault, todo)
    (sys.stdout if as_json else sys.stderr).write(shown([result]) if as_json else result.line())
    sys.stderr.write("\n")


if __name__ == "__main__":
    main()
