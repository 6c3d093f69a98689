"""The environment the server's settings need, set before anything imports them.

Databases and brokers come from the environment if it names them, else from one PostgreSQL
and one Valkey, started when the first test asks for a database and stopped with the run.
"""

import os
from pathlib import Path

from tests.plugins.services import prepare_services

SERVICES = prepare_services()

ENVIRONMENT = {
    "SECRET_KEY": "not-a-secret-in-tests-0123456789abcdefghijklmnopqrstuvwxyz",
    "PUBLIC_URL": "http://testserver",
    "LOG_SIGNING_KEY": (  # of the bytes 0 to 31: for tests only
        "PRIVATE+KEY+testserver/log+bce141bc+AQABAgMEBQYHCAkKCwwNDg8QERITFBUWFxgZGhscHR4f"
    ),
    "LOG_MAP_KEY": Path(__file__).with_name("map_key_of_tests").read_text(),
    "METRICS_TOKEN": "of-an-operator-in-tests-0123456789",
    "ALLOWED_HOSTS": "testserver,127.0.0.1,localhost",
    "DEMO": "1",
    "DATABASE_URL": SERVICES.owner_url,
    "REDIS_URL": SERVICES.redis_url,
    "EMAIL_URL": "smtp://127.0.0.1:1",
    "DATABASE_POOL_MAX": "16",  # the race has more threads than a web process
    "MAIL_FROM": "Scalewitness <record@scalewitness.example>",
}
os.environ.pop("DATABASE_OWNER_URL", None)
os.environ.update(ENVIRONMENT)
