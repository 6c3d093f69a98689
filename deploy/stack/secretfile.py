"""Secrets made once and kept in files that only their owner can read."""

import os
import secrets
from collections.abc import Callable
from pathlib import Path


def fresh_secret() -> str:
    """43 URL-safe characters."""
    return secrets.token_urlsafe(32)


def kept_secret(path: Path, make: Callable[[], str] = fresh_secret) -> str:
    """The secret in a file of mode 600, made on the first call."""
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text()
    with os.fdopen(descriptor, "w") as file:
        value = make()
        file.write(value)
    return value
