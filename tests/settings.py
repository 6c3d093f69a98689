"""The server's own settings, pointed at the services that the test run started."""

from tests.plugins.environment import ENVIRONMENT

assert ENVIRONMENT, "the environment must be set before the settings are read"

from tests.waiting import ENOUGH

from scalewitness.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
MIDDLEWARE = [
    # What is read stays read only.
    "tests.plugins.reading_only.OnlyReads" if one.endswith(".ReadFromReplica") else one
    for one in MIDDLEWARE  # noqa: F405
    if "whitenoise" not in one
]

# A person would not wait longer than the real settings say; on a busy machine a test has to.
DATABASES["default"]["OPTIONS"]["pool"]["timeout"] = ENOUGH  # type: ignore[index] # noqa: F405
QUEUE_SERVER_TIMEOUTS |= {"socket_connect_timeout": ENOUGH, "socket_timeout": ENOUGH}  # noqa: F405
