"""The log as outsiders read it: checkpoint and hash tiles (C2SP tlog-tiles).

Public, without cookies, for any origin: hashes tell how much is recorded and nothing of
what. No tile reaches beyond the tree that the latest checkpoint vouches for.
"""

from collections.abc import Callable
from functools import wraps
from hashlib import sha256

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone
from django.utils.cache import get_conditional_response

from scalewitness.api.problems import as_answer, safe_only
from scalewitness.domain.errors import NotFound, Refused
from scalewitness.domain.translog.tiles import WIDTH, NotATile, Tile, read_path, tile_at
from scalewitness.ledger.queries.tree import hashes_of
from scalewitness.ledger.queries.witnesses import cosigned_note
from scalewitness.ledger.services.signing import current_checkpoint

FOR_EVER = "public, max-age=31536000, immutable"
FOR_A_DAY = "public, max-age=86400"
ENTRIES = "entries/"

View = Callable[..., HttpResponseBase]


def public(view: View) -> View:
    """For readers of any origin; a refusal is a problem that no cache keeps."""

    @safe_only
    @wraps(view)
    def answer(request: HttpRequest, **path: str) -> HttpResponseBase:
        try:
            response = view(request, **path)
        except Refused as refused:
            response = as_answer(refused)
            response.headers["Cache-Control"] = "no-store"
        response.headers["Access-Control-Allow-Origin"] = "*"
        return response

    return answer


@public
def checkpoint(request: HttpRequest) -> HttpResponse:
    """`GET /log/checkpoint`: the signed note, with the cosignatures collected so far."""
    note = cosigned_note(current_checkpoint(timezone.now()))
    response = HttpResponse(note, content_type="text/plain; charset=utf-8")
    response.headers["Cache-Control"] = "no-cache"
    return response


@public
def tile(request: HttpRequest, path: str) -> HttpResponseBase:
    """`GET /log/tile/<L>/<N>[.p/<W>]`: its hashes. Bytes of a given width never change."""
    place = _place(path)
    hashes = _hashes(place)
    response = HttpResponse(hashes, content_type="application/octet-stream")
    response.headers["Cache-Control"] = FOR_EVER if place.width == WIDTH else FOR_A_DAY
    response.headers["ETag"] = etag = f'"{sha256(hashes).hexdigest()}"'
    return get_conditional_response(request, etag=etag, response=response) or response


def _place(path: str) -> Tile:
    if path.startswith(ENTRIES):
        raise NotFound(
            "Entries are not given out in bundles: a bundle holds those of many animals, and "
            "an entry is only for those who may see its animal. A receipt carries one entry."
        )
    try:
        return read_path(path)
    except NotATile:
        raise NotFound("There is no such tile.") from None


def _hashes(place: Tile) -> bytes:
    vouched = tile_at(place.level, place.index, current_checkpoint(timezone.now()).size)
    hashes = hashes_of(place) if vouched and vouched.width >= place.width else None
    if hashes is None:
        raise NotFound("There is no such tile.")
    return hashes
