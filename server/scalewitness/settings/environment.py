"""What the environment says; a missing secret stops the process with its name."""

import environ
from django.core.exceptions import ImproperlyConfigured

from scalewitness import env_file

try:
    env_file.load()
except env_file.BadEnvFile as fault:
    raise ImproperlyConfigured(str(fault)) from None
env = environ.Env()


def required(name: str) -> str:
    """The value of an environment variable that has no safe default."""
    value = env.str(name, default="")
    if not value:
        raise ImproperlyConfigured(f"{name} must be set in the environment")
    return str(value)


DEMO = env.bool("DEMO", default=False)
"""True only on one machine's loopback: cookies without TLS. Production leaves it unset."""
