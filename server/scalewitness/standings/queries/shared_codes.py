"""Which numbers more than one animal bore, of however many there are."""

from collections.abc import Iterator
from contextlib import ExitStack
from hashlib import blake2b
from tempfile import TemporaryFile
from types import TracebackType
from typing import IO, Final, Self
from uuid import UUID

CODE_BYTES: Final = 16
LINE_BYTES: Final = CODE_BYTES + 16
BUCKETS: Final = 64
"""So that of ten million numbers a few megabytes are in memory at once (our judgement)."""


class SharedCodes:
    """Told of each number and who bore it; they wait in files, each with a share of the numbers."""

    def __init__(self) -> None:
        self._files: dict[int, IO[bytes]] = {}
        self._opened = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self._opened.close()

    def add(self, code: str, bearer: UUID) -> None:
        hashed = blake2b(code.encode(), digest_size=CODE_BYTES).digest()
        bucket = hashed[0] % BUCKETS
        if bucket not in self._files:
            file = TemporaryFile()  # noqa: SIM115  closed with all the others
            self._files[bucket] = self._opened.enter_context(file)
        self._files[bucket].write(hashed + bearer.bytes)

    def shared(self) -> Iterator[tuple[UUID, ...]]:
        """Of each number that several bore, these."""
        for file in self._files.values():
            file.seek(0)
            yield from _shared_in(file)


def _shared_in(file: IO[bytes]) -> Iterator[tuple[UUID, ...]]:
    bearers: dict[bytes, bytes | set[bytes]] = {}
    while line := file.read(LINE_BYTES):
        code, bearer = line[:CODE_BYTES], line[CODE_BYTES:]
        known = bearers.setdefault(code, bearer)
        if isinstance(known, set):
            known.add(bearer)
        elif known != bearer:
            bearers[code] = {known, bearer}
    for several in bearers.values():
        if isinstance(several, set):
            yield tuple(UUID(bytes=one) for one in sorted(several))
