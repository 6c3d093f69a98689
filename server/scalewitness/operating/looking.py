"""Everything that is looked at, in the order in which it is best put right."""

from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Final

import httpx
from django.db import Error as DatabaseError
from psycopg_pool import PoolTimeout

from scalewitness.operating.asked import Asked
from scalewitness.operating.bucket import bucket
from scalewitness.operating.database import connections, database, roles
from scalewitness.operating.host import backups, clock, disk, memory
from scalewitness.operating.mail import mail, returns
from scalewitness.operating.names import names
from scalewitness.operating.own import own_settings, secrets
from scalewitness.operating.processes import beat, queue, worker
from scalewitness.operating.record import letters, log
from scalewitness.operating.results import Result, State
from scalewitness.operating.site import certificate, phone, proxy, site, static

Look = Callable[[Asked], Iterator[Result]]

ALL: Final[Mapping[str, Look]] = {
    "settings": own_settings,
    "secrets": secrets,
    "database": database,
    "roles": roles,
    "connections": connections,
    "queue": queue,
    "worker": worker,
    "beat": beat,
    "clock": clock,
    "disk": disk,
    "memory": memory,
    "log": log,
    "letters": letters,
    "backups": backups,
    "bucket": bucket,
    "site": site,
    "certificate": certificate,
    "proxy": proxy,
    "static": static,
    "phone": phone,
    "names": names,
    "mail": mail,
    "returns": returns,
}


def looked(asked: Asked, only: Collection[str] = ()) -> Iterator[Result]:
    """One result after another. What cannot be looked at is unsure, and the rest is looked at."""
    for name, look in ALL.items():
        if not only or name in only:
            yield from _guarded(name, look, asked)


def _guarded(name: str, look: Look, asked: Asked) -> Iterator[Result]:
    try:
        yield from look(asked)
    except (DatabaseError, PoolTimeout) as fault:
        state: State = "wrong" if name == "database" else "unsure"
        words = f"the database does not answer: {' '.join(str(fault).split())}"
        yield Result(name, state, words, "see DATABASE_URL and its server")
    except httpx.HTTPError as fault:
        yield Result(name, "unsure", f"the site does not answer: {fault}", "see site")
    except Exception as fault:
        words = f"this look failed: {type(fault).__name__}: {fault}"
        yield Result(name, "unsure", words, "tell the maintainers")
