"""Receipts: what one proves and what not, the entry in words, and the file to keep."""

import re
from collections.abc import Callable, Iterator, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.translog.checkpoints import read_body
from scalewitness.domain.translog.receipts import Receipt
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.mail.templatetags.words import moment
from scalewitness.pages.guards.habits import as_recorded
from scalewitness.pages.offers.offer import by_link
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.qr import qr
from scalewitness.pages.receipts.log import log_keys
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.receipts.by_link import entry_shown
from scalewitness.receipts.queries import entry_seen
from scalewitness.sales.models import OfferLink, Sale

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]

WRITTEN = frozenset({"note", "statement", "reasons"})
"""Fields of an entry that hold a fingerprint of free text, and not the text."""
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z")
KEPT_APART = "written text, kept apart so that it can be erased; the entry holds its fingerprint"


def while_vouched(view: View[P]) -> View[P]:
    """A log that cannot be signed gives out nothing: the page says so."""

    @wraps(view)
    def answer(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except (LogContradicted, Fenced):
            return page(request, "receipts/unavailable.html", status=503)

    return answer


@as_recorded
@while_vouched
@signed_in
def show_receipt(request: HttpRequest, keeper: Keeper, fact_id: UUID) -> HttpResponse:
    entry = entry_seen(keeper.pk, fact_id, timezone.now())
    context = _shown(entry, _name(entry), reverse("receipt", args=[fact_id]))
    return page(request, "receipts/receipt.html", context)


@while_vouched
@signed_in
def download(request: HttpRequest, keeper: Keeper, fact_id: UUID) -> HttpResponse:
    return _file(entry_seen(keeper.pk, fact_id, timezone.now()))


@as_recorded
@while_vouched
@by_link
def show_by_link(request: HttpRequest, token: str, link: OfferLink, fact_id: UUID) -> HttpResponse:
    entry = entry_shown(link, fact_id)
    where = reverse("offer_receipt", args=[token, fact_id])
    context = _shown(entry, _part(entry, link.sale), where) | {"token": token}
    return page(request, "receipts/by_link.html", context)


@while_vouched
@by_link
def download_by_link(
    request: HttpRequest, token: str, link: OfferLink, fact_id: UUID
) -> HttpResponse:
    return _file(entry_shown(link, fact_id))


def _file(entry: Entry) -> HttpResponse:
    receipt = receipt_of(entry, timezone.now())
    response = HttpResponse(str(receipt), content_type="text/plain; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{receipt.file_name}"'
    return response


def _shown(entry: Entry, who: str, path: str) -> dict[str, Any]:
    """``path``: where the page itself is, with the file one step below."""
    receipt, address = receipt_of(entry, timezone.now()), f"{settings.PUBLIC_URL}{path}"
    leaf = leaf_of(entry)
    return {
        "entry": entry,
        "who": who,
        "said": list(_labelled(leaf.body)),
        "signed": leaf.sig is not None,
        "raw": bytes(entry.leaf).decode(),
        "receipt": receipt,
        "head": _head(receipt),
        "keys": log_keys(),
        "file": f"{path}/file",
        "address": address,
        "qr": qr(address),
    }


def _head(receipt: Receipt) -> dict[str, Any]:
    head = read_body(receipt.checkpoint.text)
    return {
        "origin": head.origin,
        "size": head.size,
        "root": head.root.hex(),
        "signatures": len(receipt.checkpoint.lines),
    }


def _name(entry: Entry) -> str:
    if entry.by is None:
        return "the record itself"
    return names_of([entry.by]).get(entry.by, "the buyer, through their link")


def _part(entry: Entry, sale: Sale) -> str:
    """A buyer is told people by their part in the deal, as on the offer."""
    parts = {None: "the record itself", sale.buyer_id: "you"}
    parts |= {sale.collection.keeper_id: "the seller"}
    return parts.get(entry.by, "another keeper")


def _labelled(body: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, str]]:
    """An entry's body as rows: where it stands in it, and the value in words."""
    for name, value in body.items():
        label = f"{before}{name.replace('_', ' ')}"
        if name in WRITTEN:
            yield label, KEPT_APART
        elif isinstance(value, Mapping):
            yield from _labelled(value, f"{label}, ")
        elif isinstance(value, list) and any(isinstance(one, Mapping) for one in value):
            for number, one in enumerate(value, start=1):
                yield from _labelled(one, f"{label} {number}, ")
        else:
            yield label, _in_words(value)


def _in_words(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_in_words, value))
    if isinstance(value, str) and _MOMENT.fullmatch(value):
        return moment(value)
    return str(value).replace("_", " ")
