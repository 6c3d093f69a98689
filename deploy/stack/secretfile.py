"""Secrets made once and kept in files that only their owner can read."""

import os
import secrets
from pathlib import Path


def kept_secret(path: Path) -> str:
    """The secret in a file, made on the first call: 43 URL-safe characters, mode 600."""
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text()
    with os.fdopen(descriptor, "w") as file:
        value = secrets.token_urlsafe(32)
        file.write(value)
    return value
