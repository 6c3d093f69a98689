"""What one of the keeper's devices put on record: to find what is not theirs once it is lost."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time
from urllib.parse import urlencode
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import lazy

from scalewitness.calls.queries.visibility import seen_animals
from scalewitness.domain.errors import NotFound
from scalewitness.domain.fact_words import in_words
from scalewitness.domain.translog.leaf import Leaf
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of, sent_from
from scalewitness.pages.animals.forms import day_field
from scalewitness.pages.guards.habits import in_zone
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.listing import listed
from scalewitness.people.models import Keeper
from scalewitness.people.queries import device_of


@dataclass(frozen=True, slots=True)
class FromDevice:
    """``place``: where it can be looked at, and mostly withdrawn; ``animal``: whose page its keeper
    may open."""

    entry: Entry
    words: str
    signed: bool
    place: str
    animal: UUID | None


class SinceForm(forms.Form):
    since = day_field(lazy(in_zone, str)("Since"), required=False)


@signed_in
def show_device(request: HttpRequest, keeper: Keeper, device_id: UUID) -> HttpResponse:
    """By when the record took it: a time that a device claims may be false."""
    device = device_of(keeper.pk, device_id)
    if device is None:
        raise NotFound()
    form = SinceForm(request.GET or None)
    since = form.cleaned_data["since"] if form.is_valid() else None
    start = timezone.make_aware(datetime.combine(since, time())) if since else None
    found = listed(request, sent_from(keeper.pk, device.pk, start))
    context = {
        "device": device,
        "form": form,
        "rows": _rows(found, keeper.pk, timezone.now()),
        "listed": found,
        "asked": urlencode({"since": since} if since else {}),
        "since": since,
    }
    return page(request, "people/device.html", context)


def _rows(entries: Iterable[Entry], keeper: UUID, now: datetime) -> list[FromDevice]:
    read = [(one, leaf_of(one)) for one in entries]
    seen = seen_animals(keeper, {one.about for one, _ in read if one.about}, now)
    return [_row(one, leaf, one.about if one.about in seen else None) for one, leaf in read]


def _row(entry: Entry, leaf: Leaf, animal: UUID | None) -> FromDevice:
    place = reverse("accepted" if leaf.kind == "call_made" else "receipt", args=[entry.fact])
    return FromDevice(entry, in_words(leaf.kind, leaf.body), leaf.sig is not None, place, animal)
