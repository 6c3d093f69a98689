"""The log as anybody reads it from the server, for the command's own code."""

from collections.abc import Sequence

from django.test import Client

from scalewitness.domain.translog.tiles import Tile


class AsServed:
    """What a `PublicLog` reads, without a network."""

    url = "https://record.example"

    def _get(self, path: str) -> bytes:
        return Client().get(path).content

    def checkpoint(self) -> bytes:
        return self._get("/log/checkpoint")

    def tile(self, place: Tile) -> bytes:
        return self._get(f"/log/tile/{place.path()}")

    def origins(self) -> bytes | None:
        return self._get("/api/v1/log/origins")

    def key_changes(self) -> bytes | None:
        return self._get("/api/v1/log/key-changes")

    def revoked_witnesses(self) -> bytes | None:
        return self._get("/api/v1/log/witnesses")

    def freshness(self) -> bytes | None:
        return self._get("/api/v1/log/freshness")

    def cosigned(self, names: Sequence[str]) -> bytes | None:
        return self._get(f"/api/v1/log/cosigned?witnesses={','.join(names)}")
