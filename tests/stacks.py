"""The service as live processes, on a copy of the migrated database in the session's PostgreSQL.

A server of its own and all migrations anew would take longer than most of the tests do. So would
`migrate` in a process of its own: the copy comes with the rights of the web and the worker. What
else `migrate` does is done here. A service that migrates is in `tests/deploy/test_local.py`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

import psycopg
from django.conf import settings
from tests.plugins.own_database import copied
from tests.plugins.services import Services

from stack.local import LocalStack

Given = dict[str, str]


@contextmanager
def database_for(services: Services, untouched: str, name: str) -> Iterator[Given]:
    """What a `LocalStack` is given to run on a copy of that ``name``."""
    with copied(untouched, f"{untouched}_{name}") as made:
        urls = {"DATABASE_URL": services.app_url, "DATABASE_OWNER_URL": services.owner_url}
        given = {one: urlsplit(url)._replace(path=f"/{made}").geturl() for one, url in urls.items()}
        with psycopg.connect(given["DATABASE_OWNER_URL"]) as owner:
            for limit, value in settings.STRANGERS.items():
                owner.execute(f"ALTER DATABASE {made} SET {limit} = {value:d}".encode())
        yield given


def start(stack: LocalStack) -> None:
    """As the stack's own, on a database of :func:`database_for`."""
    stack.start_database()
    stack.start_queue()
    stack.start_mail()
    stack.start_web()
    stack.start_worker()


def vouch(stack: LocalStack, email: str) -> None:
    """What a click on the link in the letter does."""
    with psycopg.connect(stack.owner_url) as connection:
        found = connection.execute(
            "UPDATE account_emailaddress SET verified = true WHERE email = %s", [email]
        )
        assert found.rowcount == 1
