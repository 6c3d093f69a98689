"""A log's public face: its checkpoint and hash tiles (C2SP tlog-tiles). Nothing it says is
taken on trust; whoever asks checks it."""

import json
from collections.abc import Sequence
from contextlib import suppress
from urllib.parse import quote

import httpx

from scalewitness.domain.translog.notes import MAX_NOTE_BYTES
from scalewitness.domain.translog.tiles import WIDTH, Tile
from scalewitness.domain.translog.tree import HASH_BYTES
from scalewitness_cli.remote import Stopped, Unreachable, authorities

SECONDS = 20.0
MAX_WITNESSES_BYTES = 4_000_000
"""Some ten thousand revoked keys (our judgement)."""


class NoSuchTile(ValueError):
    """The log does not give out a tile that its own checkpoint says it has."""


class PublicLog:
    """The log at ``url``, read without signing in."""

    def __init__(self, url: str, transport: httpx.BaseTransport | None = None) -> None:
        self.url = url.rstrip("/")
        self._client = httpx.Client(
            base_url=f"{self.url}/log/",
            timeout=SECONDS,
            trust_env=False,
            transport=transport,
            verify=authorities(),
        )

    def __enter__(self) -> "PublicLog":
        return self

    def __exit__(self, *trouble: object) -> None:
        self._client.close()

    def checkpoint(self) -> bytes:
        """The newest signed note as sent.

        Raises:
            Stopped: no answer, or none that could be a note.
        """
        answer, data = self._read("checkpoint", MAX_NOTE_BYTES)
        if answer.status_code != 200:
            raise Stopped(f"{self.url} gives no checkpoint: {_why(answer, data)}")
        return data

    def tile(self, place: Tile) -> bytes:
        """The hashes of a tile; a partial one may come out of the full one (C2SP allows a
        log to drop partial tiles then).

        Raises:
            NoSuchTile: the log refuses it or sends another number of hashes.
            Stopped: no answer, or the server is in trouble.
        """
        answer, data = self._read(f"tile/{place.path()}", WIDTH * HASH_BYTES)
        if answer.status_code in {404, 410} and place.width < WIDTH:
            full = Tile(place.level, place.index)
            answer, data = self._read(f"tile/{full.path()}", WIDTH * HASH_BYTES)
        if answer.status_code >= 500 or answer.status_code == 429:
            raise Stopped(f"{self.url} gives no tile {place.path()}: {_why(answer, data)}")
        wanted = place.width * HASH_BYTES
        if answer.status_code != 200 or len(data) < wanted:
            raise NoSuchTile(f"it does not give out the tile {place.path()}")
        return data[:wanted]

    def origins(self) -> bytes | None:
        """What the log says of those it goes on from, as sent; None where it says nothing.

        Raises:
            Stopped: no answer, or the server is in trouble.
        """
        return self._read_statement("origins")

    def key_changes(self) -> bytes | None:
        """What the log says of how its key changed, as sent; None where it says nothing.

        Raises:
            Stopped: no answer, or the server is in trouble.
        """
        return self._read_statement("key-changes")

    def revoked_witnesses(self) -> bytes | None:
        """What the log says of witnesses, those that are revoked among it, as sent; None where it
        says nothing.

        Raises:
            Stopped: no answer, or the server is in trouble.
        """
        return self._read_statement("witnesses", MAX_WITNESSES_BYTES)

    def freshness(self) -> bytes | None:
        """What the log says of when it last signed, as sent; None where it says nothing.

        Raises:
            Stopped: no answer, or the server is in trouble.
        """
        return self._read_statement("freshness")

    def cosigned(self, names: Sequence[str]) -> bytes | None:
        """What the log says that these witnesses cosigned, as :meth:`freshness`.

        Raises:
            Stopped: no answer, or the server is in trouble.
        """
        return self._read_statement(f"cosigned?witnesses={quote(','.join(names))}")

    def _read_statement(self, of: str, most: int = MAX_NOTE_BYTES) -> bytes | None:
        answer, data = self._read(f"{self.url}/api/v1/log/{of}", most)
        if answer.status_code >= 500 or answer.status_code == 429:
            raise Unreachable(f"{self.url} does not say: {_why(answer, data)}")
        return data if answer.status_code == 200 else None

    def _read(self, path: str, most: int) -> tuple[httpx.Response, bytes]:
        """The answer and up to ``most`` bytes of its body, one more if it is longer."""
        data = b""
        try:
            with self._client.stream("GET", path) as answer:
                for part in answer.iter_bytes():
                    data += part
                    if len(data) > most:
                        break
        except httpx.HTTPError as problem:
            raise Stopped(f"{self.url} does not answer: {problem}") from problem
        return answer, data[: most + 1]


def _why(answer: httpx.Response, data: bytes) -> str:
    with suppress(ValueError, TypeError, KeyError):
        return str(json.loads(data)["detail"])
    return f"{answer.status_code} {data[:200].decode(errors='replace')}".strip()
