"""Rackside, the web app for the racks, as files: the server adds only their hashes.

Its service worker must lie under the very path it works for, so these are not served among the
static files. Its first line names every file with its hash: any change makes another worker,
and none keeps files of two versions.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect
from django.utils.http import parse_etags
from django.views.decorators.http import require_safe

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".woff2": "font/woff2",
}
STATIC = Path(__file__).parent / "static"
SHARED = STATIC / "shared"
"""What pages and app have in common. The app gets it under its own address, so that its worker
keeps it too; its modules import it as if it lay in a folder of theirs."""
CHECKING = (
    "agreeing",
    "carried",
    "ed25519",
    "entry",
    "freshness",
    "keys",
    "merkle",
    "notes",
    "record_map",
    "seen_before",
    "stated",
    "vrf",
    "whole",
)
"""Of the modules by which pages check the log, those that the app imports: likewise."""
INDEX = ""
WORKER = "sw.js"


@dataclass(frozen=True, slots=True)
class File:
    content: bytes
    type: str

    @property
    def hash(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


@cache
def files(root: Path) -> Mapping[str, File]:
    """The app by path under its address; read once a process. Empty where it is not there."""
    found = _read(root, "")
    if not found:
        return {}
    found |= _read(SHARED, "shared/")
    found |= {f"checking/{one}.js": _file(STATIC / "checking" / f"{one}.js") for one in CHECKING}
    worker = found.pop(WORKER)
    found[INDEX] = found.pop("index.html")
    shell = json.dumps(_shell(found), sort_keys=True)
    found[WORKER] = File(f"const SHELL = {shell};\n".encode() + worker.content, worker.type)
    return found


def _read(root: Path, under: str) -> dict[str, File]:
    return {
        under + path.relative_to(root).as_posix(): _file(path)
        for path in sorted(root.rglob("*"))
        if path.is_file() and path.suffix in TYPES
    }


def _file(path: Path) -> File:
    return File(path.read_bytes(), TYPES[path.suffix])


def _shell(found: Mapping[str, File]) -> dict[str, object]:
    hashes = {path: file.hash for path, file in found.items()}
    version = hashlib.sha256(json.dumps(hashes, sort_keys=True).encode()).hexdigest()
    return {"version": version[:16], "files": hashes}


@require_safe
def serve(request: HttpRequest, path: str) -> HttpResponse:
    """One file of the app, always asked for anew: the worker does the keeping."""
    file = files(Path(settings.RACKSIDE_ROOT)).get(path)
    if file is None:
        raise Http404
    etag = f'"{file.hash[:32]}"'
    known = etag in parse_etags(request.headers.get("If-None-Match", ""))
    answer = HttpResponseNotModified() if known else HttpResponse(file.content, file.type)
    answer.headers["ETag"] = etag
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@require_safe
def enter(request: HttpRequest) -> HttpResponse:
    """The app's address without the stroke at its end."""
    return redirect("rackside")
