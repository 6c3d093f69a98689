"""The static files of pages, in a folder named by what is in it: browsers keep them for good.

``collectstatic`` fills that folder of ``STATIC_ROOT`` once for each version, compressed too.
Folders of earlier versions stay: their pages are open in browsers yet. The files keep their own
names: modules import each other by them, and in circles, which no hash in a name could follow.
"""

import hashlib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.files.storage import Storage
from whitenoise.storage import CompressedStaticFilesStorage

WHOLE: Final = "whole"
"""A file in the folder once everything is there."""

Sources = Mapping[str, tuple[Storage, str]]


class VersionedFiles(CompressedStaticFilesStorage):
    def __init__(self) -> None:
        folder = version()
        super().__init__(
            location=Path(str(settings.STATIC_ROOT)) / folder,
            base_url=f"{settings.STATIC_URL}{folder}/",
        )

    def post_process(self, paths: Sources, **options: Any) -> Iterator[Any]:
        yield from super().post_process(paths, **options)
        (Path(self.location) / WHOLE).touch()


def are_collected() -> bool:
    """Whether this version's are in ``STATIC_ROOT``."""
    return (Path(str(settings.STATIC_ROOT)) / version() / WHOLE).is_file()


@cache
def version() -> str:
    """Of all files that pages may name, by what is in them."""
    total = hashlib.sha256()
    for name, (storage, path) in sorted(_sources().items()):
        with storage.open(path) as file:
            content = file.read()
        total.update(f"{name}\0{len(content)}\0".encode() + content)
    return total.hexdigest()[:16]


def _sources() -> Sources:
    """As ``collectstatic`` finds them: of two with one name the first counts."""
    found: dict[str, tuple[Storage, str]] = {}
    for finder in get_finders():
        for path, storage in finder.list([]):
            found.setdefault(path, (storage, path))
    return found
