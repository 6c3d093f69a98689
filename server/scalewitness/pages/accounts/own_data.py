"""What is kept of a keeper: how long, and as one file for themselves."""

from collections.abc import Iterator
from typing import Any

import msgspec
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from knox.settings import knox_settings

from scalewitness.importing.queries import KEPT_FOR
from scalewitness.ledger.queries.entries import entries_by, leaf_of, texts_by_fact
from scalewitness.mail.queries import sent_to
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.people.models import Keeper
from scalewitness.people.queries import devices_of
from scalewitness.sales.queries import purchases_of

SOME = 500
LOGS_DAYS = 14
"""As ``deploy/systemd/journald.conf`` ends them."""


def show_kept(request: HttpRequest) -> HttpResponse:
    """Open to all: whoever thinks of making an account reads it first."""
    context = {
        "operator": settings.OPERATOR_NAME,
        "contact": settings.OPERATOR_CONTACT,
        "backups": settings.BACKUPS_KEPT_DAYS,
        "tokens": knox_settings.TOKEN_TTL.days,
        "uploads": KEPT_FOR.days,
        "logs": LOGS_DAYS,
    }
    return page(request, "people/kept.html", context)


@signed_in
def download(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """A line of JSON each: the account, its devices, purchases and letters, and what the keeper
    stated, with its texts. Nothing of anybody else's; a letter by its kind and times alone."""
    lines = (msgspec.json.encode(one) + b"\n" for one in own_data(keeper))
    answer = HttpResponse(lines, content_type="application/jsonl")
    answer["Content-Disposition"] = 'attachment; filename="kept-of-you.jsonl"'
    return answer


def own_data(keeper: Keeper) -> Iterator[dict[str, Any]]:
    """Line by line, as :func:`download` gives them."""
    yield {"account": _account(keeper)}
    for device in devices_of(keeper):
        yield {"device": {"id": device.pk, "name": device.name, "since": device.enrolled_at,
                          "ended": device.revoked_at}}  # fmt: skip
    for bought in purchases_of(keeper.pk):
        yield {"bought_as": {"id": bought.pk, "name": bought.name, "address": bought.email}}
    for letter in sent_to(keeper.pk):
        yield {"letter": {"kind": letter.kind, "to": letter.to, "sent": letter.sent_at}}
    yield from _stated(keeper)


def _account(keeper: Keeper) -> dict[str, Any]:
    names = ("name", "email", "last_login", "digest", "time_zone", "day_style", "weight_unit")
    return {"id": keeper.pk, **{name: getattr(keeper, name) for name in names}}


def _stated(keeper: Keeper) -> Iterator[dict[str, Any]]:
    after = -1
    while some := list(entries_by(keeper.pk, after)[:SOME]):
        texts = texts_by_fact([one.fact for one in some])
        for entry in some:
            leaf = msgspec.to_builtins(leaf_of(entry))
            yield {"position": entry.position, "received": entry.received_at, "stated": leaf,
                   "texts": texts.get(entry.fact, {})}  # fmt: skip
        after = some[-1].position
