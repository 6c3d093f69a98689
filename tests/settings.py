"""The server's own settings, pointed at the services that the test run started."""

from tests.plugins.environment import ENVIRONMENT

assert ENVIRONMENT, "the environment must be set before the settings are read"

from scalewitness.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
MIDDLEWARE = [one for one in MIDDLEWARE if "whitenoise" not in one]  # noqa: F405
