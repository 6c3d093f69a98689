"""What is done with several animals at once."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from urllib.parse import urlencode
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from scalewitness.animals.models import ON_SHEET, Animal
from scalewitness.animals.queries import stewarded_ids
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.animals.exporting import exported
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.picking import ids_among
from scalewitness.pages.parts.qr import qr
from scalewitness.people.models import Keeper

FORMS = {"invite": "invite", "sell": "draft_sale", "plan": "plan_visit"}
"""Each with the page that takes them over; it is one collection's."""
MOST = 200
"""Our judgement: four pages of labels; an address holds no more."""


@signed_in
def with_chosen(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """On to the form, the labels or the file for the animals chosen; else back, told why not."""
    now, wanted = timezone.now(), ids_among(request.GET.getlist("animal"))[:MOST]
    what = request.GET.get("do", "")
    if what == "export":
        return _exported(request, keeper, wanted, now)
    found = own_among(keeper, wanted, now)
    if len(found) < len(set(wanted)) or not found:
        return _back(request, "Choose one or more animals of your own first.")
    if what == "place":
        return redirect(f"{reverse('place')}?{_query(one.pk for one in found)}")
    if what == "labels":
        return labels_for(request, found)
    homes = {one.collection_id for one in found}
    if what not in FORMS or len(homes) > 1:
        return _back(request, "Choose animals of one collection for that.")
    return redirect(f"{reverse(FORMS[what], args=[*homes])}?{_query(one.pk for one in found)}")


def labels_for(request: HttpRequest, animals: Iterable[Animal]) -> HttpResponse:
    """To be printed; each with its identifiers read."""
    return page(request, "animals/labels.html", {"labels": [_label(one) for one in animals]})


def own_among(keeper: Keeper, animals: Sequence[UUID], now: datetime) -> list[Animal]:
    """Those in a collection that the keeper holds or is a partner in, in the order given."""
    own = visible_animals(keeper.pk, now).filter(
        pk__in=animals, collection__in=stewarded_ids(keeper.pk, now)
    )
    return sorted(own.prefetch_related("identifiers"), key=lambda one: animals.index(one.pk))


def _exported(
    request: HttpRequest, keeper: Keeper, animals: Sequence[UUID], now: datetime
) -> HttpResponse:
    """A table of all that may be seen of them; of one to be checked blind, what stands on the
    sheet."""
    seen = visible_animals(keeper.pk, now).filter(pk__in=animals).prefetch_related("identifiers")
    rows = sorted(seen, key=lambda one: animals.index(one.pk))
    if not rows:
        return _back(request, "Choose one or more animals first.")
    answer = HttpResponse(exported(rows), content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = 'attachment; filename="animals.csv"'
    return answer


def _back(request: HttpRequest, why: str) -> HttpResponse:
    messages.warning(request, why)
    return redirect("animals")


def _query(animals: Iterable[UUID]) -> str:
    return urlencode([("animal", one) for one in animals])


def _label(animal: Animal) -> tuple[str, str, str]:
    """Its code, its species and the way to its page: nothing that a blind guest must not read."""
    codes = (one.code for one in animal.identifiers.all() if one.scheme in ON_SHEET)
    address = f"{settings.PUBLIC_URL}{reverse('animal', args=[animal.pk])}"
    return next(codes, "No code"), taxon(animal.species).common, qr(address)
