"""The settings themselves: what Django's own checks say, who can read them, and their copy."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from django.conf import settings
from django.core.checks import ERROR, run_checks

from scalewitness import env_file
from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result, State

KEYS: Final = ("SECRET_KEY", "LOG_SIGNING_KEY", "LOG_MAP_KEY")


def own_settings(asked: Asked) -> Iterator[Result]:
    faults = [one for one in run_checks(include_deployment_checks=True) if not one.is_silenced()]
    for one in faults:
        state: State = "wrong" if one.level >= ERROR else "unsure"
        yield Result("settings", state, f"{one.id}: {one.msg}", " ".join((one.hint or "").split()))
    if not faults:
        yield Result("settings", "right", "they can be used")
    for name, without in (
        ("OPERATORS", "nobody is told on Today of what only an operator can put right"),
        ("METRICS_TOKEN", "nothing can watch this service"),
    ):
        if not getattr(settings, name):
            yield Result("settings", "unsure", f"{name} is not set: {without}", f"set {name}")


def secrets(asked: Asked) -> Iterator[Result]:
    """Who can read the file of settings, and whether a copy of the keys is the right one."""
    if place := os.environ.get(env_file.VARIABLE):
        for path in (Path(place), env_file.owners(Path(place))):
            if path.exists():
                yield _rights(path)
    else:
        words = "the settings are not in a file that this command knows"
        yield Result(
            "secrets", "unsure", words, f"see who can read them, or set {env_file.VARIABLE}"
        )
    if asked.kept_keys is None:
        words = "whether the keys are kept elsewhere"
        yield Result("keys", "unsure", words, "give --kept-keys COPY of the file of settings")
    else:
        yield _copy(asked.kept_keys)


def _rights(path: Path) -> Result:
    mode = path.stat().st_mode
    if mode & (stat.S_IROTH | stat.S_IWOTH | stat.S_IWGRP):
        words = f"{path} can be read or changed by others ({stat.filemode(mode)})"
        return Result("secrets", "wrong", words, f"chmod 600 {path}; change keys that were seen")
    return Result("secrets", "right", f"{path} is closed to others ({stat.filemode(mode)})")


def _copy(path: Path) -> Result:
    try:
        kept = env_file.read(path)
    except env_file.BadEnvFile as fault:
        return Result("keys", "wrong", str(fault), "keep a copy of the file as it is")
    if other := [name for name in KEYS if kept.get(name) != os.environ.get(name)]:
        words = f"{path} has no {', '.join(other)}, or another than this service"
        return Result("keys", "wrong", words, "keep a copy of the file as it is now")
    return Result("keys", "right", f"{path} has this service's keys")
