"""The bucket: django-storages as configured, and on it what a record needs of a store: bytes that
were read back, a bounded wait, every version gone.

Loaded only where a bucket is set, as its packages are an extra of the server.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from threading import BoundedSemaphore
from time import monotonic
from typing import Any, Final

import structlog
from botocore import UNSIGNED
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from django.conf import settings
from django.db import connection
from storages.backends.s3 import S3Storage

from scalewitness.domain.errors import FilesAway
from scalewitness.object_store import Missing, StoredObject

log = structlog.get_logger()

CONNECTS_WITHIN: Final = 2
ANSWERS_WITHIN: Final = 5
READ_WITHIN: Final = 10
"""Seconds for the store to be reached, for each piece of its answer, and for all of an object: a
person waits for the web (our judgement)."""
AT_ONCE: Final = 16
"""Requests of one process, so that a slow store leaves threads to others (our judgement)."""
A_TURN: Final = 2.0
"""Seconds that one more waits for its turn (our judgement)."""
ATTEMPTS: Final = 2
PIECE: Final = 16_384
"""Bytes between two looks at the clock."""
GONE: Final = frozenset({"NoSuchKey", "404"})
NO_VERSIONS: Final = frozenset({"NotImplemented", "MethodNotAllowed", "405", "501"})
"""How stores say that they keep none."""


class ObjectBucket(S3Storage):  # type: ignore[misc]  # it comes without types
    """Every call but `public` raises `FilesAway` where the store does not do as it is asked."""

    def __init__(self, **options: Any) -> None:
        super().__init__(client_config=_config(options), **options)
        self._turns = BoundedSemaphore(AT_ONCE)
        self._clients: dict[int, Any] = {}

    def put(self, key: str, data: bytes, sha256_hex: str) -> None:
        """Keep bytes, and read back what was kept.

        The signature covers the bytes, so the store refuses others than were sent.
        """
        what = {"Body": data, "ContentType": "application/octet-stream"}
        try:
            with self._asked() as client:
                client.put_object(Bucket=self.bucket_name, Key=key, **what)
            kept = self.read(key, len(data))
        except Missing:
            raise away("put_and_missing") from None
        if sha256(kept).hexdigest() != sha256_hex:
            raise away("put_and_altered")

    def read(self, key: str, most: int) -> bytes:
        """The bytes of an object, ``most + 1`` at most.

        Raises:
            Missing: there is none.
        """
        by, found = monotonic() + READ_WITHIN, bytearray()
        with self._asked() as client:
            answer = client.get_object(Bucket=self.bucket_name, Key=key)
            with answer["Body"] as body:
                while len(found) <= most and (piece := body.read(min(PIECE, most + 1))):
                    found += piece
                    if monotonic() > by:
                        raise away("slow")
        return bytes(found[: most + 1])

    def listed(self, prefix: str) -> Iterator[StoredObject]:
        """All objects under a prefix, in the order of their keys, a thousand a request."""
        more: dict[str, str] = {}
        while True:
            with self._asked() as client:
                page = client.list_objects_v2(Bucket=self.bucket_name, Prefix=prefix, **more)
            for one in page.get("Contents", ()):
                yield StoredObject(one["Key"], one["Size"], one["LastModified"])
            if not page.get("IsTruncated"):
                return
            more = {"ContinuationToken": page["NextContinuationToken"]}

    def remove(self, prefix: str) -> None:
        """Delete all objects under a prefix, with every version that the bucket keeps of them, and
        see that they are gone."""
        versions = self.versioning() is not None
        for key, version in self._versions(prefix) if versions else self._present(prefix):
            with suppress(Missing), self._asked() as client:
                client.delete_object(Bucket=self.bucket_name, Key=key, **version)
        left = self._versions(prefix) if versions else self._present(prefix)
        if next(left, None) is not None:
            raise away("deleted_and_there")

    def versioning(self) -> str | None:
        """``Enabled`` or ``Suspended``; None: the bucket never kept versions."""
        answer: dict[str, Any] = {}
        with self._asked(passing=NO_VERSIONS) as client:
            answer = client.get_bucket_versioning(Bucket=self.bucket_name)
        return answer.get("Status")

    def lifecycle(self) -> list[str]:
        """Names of the bucket's own rules by which objects go or change their class."""
        answer: dict[str, Any] = {}
        with self._asked(passing=NO_VERSIONS | {"NoSuchLifecycleConfiguration"}) as client:
            answer = client.get_bucket_lifecycle_configuration(Bucket=self.bucket_name)
        rules = [one for one in answer.get("Rules", ()) if one.get("Status") == "Enabled"]
        return [str(one.get("ID") or "unnamed") for one in rules]

    def public(self, key: str) -> list[str]:
        """What anybody may do without a key: ``read`` an object, ``list`` the bucket."""
        nobody = self._client_of(self.client_config.merge(Config(signature_version=UNSIGNED)))
        asked = {
            "read": lambda: nobody.get_object(Bucket=self.bucket_name, Key=key)["Body"].read(),
            "list": lambda: nobody.list_objects_v2(Bucket=self.bucket_name, MaxKeys=1),
        }
        return [what for what, ask in asked.items() if _answered(ask)]

    def _present(self, prefix: str) -> Iterator[tuple[str, dict[str, str]]]:
        yield from ((one.key, {}) for one in self.listed(prefix))

    def _versions(self, prefix: str) -> Iterator[tuple[str, dict[str, str]]]:
        """Also the marks that a deletion leaves in place of an object."""
        more: dict[str, str] = {}
        while True:
            with self._asked() as client:
                page = client.list_object_versions(Bucket=self.bucket_name, Prefix=prefix, **more)
            for one in (*page.get("Versions", ()), *page.get("DeleteMarkers", ())):
                yield one["Key"], {"VersionId": one["VersionId"]}
            if not page.get("IsTruncated"):
                return
            more = {"KeyMarker": page["NextKeyMarker"]}
            if page.get("NextVersionIdMarker"):
                more["VersionIdMarker"] = page["NextVersionIdMarker"]

    @contextmanager
    def _asked(self, passing: frozenset[str] = frozenset()) -> Iterator[Any]:
        """The client, when it is this request's turn. Meanwhile a thread of the web holds no
        connection to the database: many may wait here. ``passing``: codes that are answers too."""
        if settings.PROCESS == "web" and not connection.in_atomic_block:
            connection.close()
        if not self._turns.acquire(timeout=A_TURN):
            raise away("too_many")
        try:
            yield self._client
        except ClientError as fault:
            code = str(fault.response.get("Error", {}).get("Code", "unknown"))
            if code in GONE:
                raise Missing from None
            if code not in passing:
                raise away(code) from fault
        except (BotoCoreError, OSError, ValueError) as fault:
            raise away(type(fault).__name__) from fault
        finally:
            self._turns.release()

    @property
    def _client(self) -> Any:
        """One for all threads of a process, as it is slow to make; a fork makes its own."""
        process = os.getpid()
        if process not in self._clients:
            self._clients = {process: self._client_of(self.client_config)}
        return self._clients[process]

    def _client_of(self, config: Config) -> Any:
        where = {"region_name": self.region_name, "endpoint_url": self.endpoint_url}
        return self._create_session().client("s3", config=config, verify=self.verify, **where)


def away(why: str) -> FilesAway:
    """What to raise; why is the operator's to read."""
    log.error("object_store", fault=why)
    return FilesAway(why)


def _answered(ask: Any) -> bool:
    try:
        ask()
    except (BotoCoreError, ClientError):
        return False
    return True


def _config(options: dict[str, Any]) -> Config:
    """Bytes are under the signature also over TLS; no checksum that only some stores know."""
    return Config(
        connect_timeout=CONNECTS_WITHIN,
        read_timeout=ANSWERS_WITHIN,
        retries={"total_max_attempts": ATTEMPTS, "mode": "standard"},
        max_pool_connections=AT_ONCE,
        signature_version="s3v4",
        s3={
            "addressing_style": options.get("addressing_style"),
            "payload_signing_enabled": True,
        },
        request_checksum_calculation="when_required",
        response_checksum_validation="when_required",
    )
