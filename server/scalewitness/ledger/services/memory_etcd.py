"""The memory in etcd: for several hosts, one of which may be lost.

Whoever signs holds a key that ends with its lease. The revision at which that key was made is a
fencing token: what is remembered is written only in a transaction that finds the key as it was
made. So a process that was stopped for longer than its lease, and wakes, remembers nothing, and
what is not remembered is not given out. It is spoken to by the JSON gateway that it brings
(https://etcd.io/docs/v3.4/dev-guide/api_grpc_gateway/).
"""

import ssl
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from time import monotonic, sleep
from typing import Any, Final
from urllib.parse import urlsplit

import httpx
import structlog

from scalewitness.domain.errors import Busy

SCHEMES: Final = {"etcd": "http", "etcds": "https"}
"""Of `LOG_MEMORY`, and what is spoken there."""
LEASE: Final = 15
"""Seconds after which another may sign in place of one that was killed: longer than signing takes,
short enough that no reader waits long for a receipt (our judgement)."""
TIMEOUT: Final = 2.0
"""Seconds to wait for whoever signs (our judgement)."""
ANSWERS_WITHIN: Final = 1.5
"""Seconds to wait for one member; the next is asked then (our judgement)."""
A_MOMENT: Final = 0.1
"""Seconds."""

log = structlog.get_logger()

Json = dict[str, Any]


class EtcdStore:
    """``etcd://HOST:PORT,HOST:PORT/PREFIX``; with TLS ``etcds://``. ``trusts``: whose certificates
    are taken then, and which one is shown; the system's and none, if not given."""

    def __init__(self, url: str, trusts: ssl.SSLContext | None = None) -> None:
        parts = urlsplit(url)
        self._members = [f"{SCHEMES[parts.scheme]}://{one}" for one in parts.netloc.split(",")]
        self._prefix = parts.path.strip("/") or "scalewitness"
        self._line = httpx.Client(
            verify=trusts or ssl.create_default_context(), timeout=ANSWERS_WITHIN, trust_env=False
        )
        self._seen: tuple[float, bytes | None] | None = None

    def read(self, seconds_old: float = 0.0) -> bytes | None:
        """What is remembered, or was so many seconds ago; None where nothing is.

        Raises:
            Busy: most members are away.
        """
        now, seen = monotonic(), self._seen
        if seen is not None and now - seen[0] < seconds_old:
            return seen[1]
        found = self._ask("kv/range", {"key": self.key("memory")}).get("kvs")
        value = b64decode(found[0].get("value", "")) if found else None
        self._seen = (now, value)
        return value

    @contextmanager
    def alone(self) -> Iterator["Lease"]:
        """One process of all hosts at a time, for as long as its lease lasts.

        Raises:
            Busy: another is signing, or was killed a moment ago; or most members are away.
        """
        lease = self._ask("lease/grant", {"TTL": LEASE})["ID"]
        try:
            yield Lease(self, self._taken(lease))
        finally:
            with suppress(Busy):
                self._ask("lease/revoke", {"ID": lease})

    def _taken(self, lease: str) -> str:
        """The token of the signer's key, once it is ours."""
        key, until = self.key("signer"), monotonic() + TIMEOUT
        put = {"key": key, "value": "", "lease": lease}
        while (token := self.put_if(key, "0", put)) is None:
            if monotonic() > until:
                raise Busy()
            sleep(A_MOMENT)
        return token

    def put_if(self, key: str, made_at: str, *puts: Json) -> str | None:
        """Put values if the key was made at that revision ("0": if there is none); the revision
        of that, None where it was not so."""
        made = {"key": key, "target": "CREATE", "result": "EQUAL", "create_revision": made_at}
        body = {"compare": [made], "success": [{"requestPut": put} for put in puts]}
        answer = self._ask("kv/txn", body)
        return str(answer["header"]["revision"]) if answer.get("succeeded") else None

    def key(self, name: str) -> str:
        """As etcd takes it."""
        return b64encode(f"{self._prefix}/{name}".encode()).decode()

    def _ask(self, what: str, body: Json) -> Json:
        faults: list[str] = []
        for member in list(self._members):
            try:
                answer = self._line.post(f"{member}/v3/{what}", json=body)
                if answer.is_success:
                    found: Json = answer.json()
                    return found
                faults.append(f"{member}: {answer.status_code}")
            except (httpx.HTTPError, ValueError) as fault:
                faults.append(f"{member}: {fault!r}")
            # Whoever asks next begins with another.
            self._members = [one for one in self._members if one != member] + [member]
        log.warning("memory_does_not_answer", faults=faults)
        raise Busy()


@dataclass(frozen=True, slots=True)
class Lease:
    """The right to sign; ``token``: the revision at which its key was made."""

    _store: EtcdStore
    _token: str

    def replace(self, note: str, aside: str | None) -> None:
        """As `FileStore.replace`.

        Raises:
            Busy: the lease is over; nothing was written.
        """
        puts = [{"key": self._store.key("memory"), "value": b64encode(note.encode()).decode()}]
        before = self._store.read() if aside is not None else None
        if before is not None:
            kept = b64encode(before).decode()
            puts.append({"key": self._store.key(f"memory.{aside}"), "value": kept})
        if self._store.put_if(self._store.key("signer"), self._token, *puts) is None:
            raise Busy()
