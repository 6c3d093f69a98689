"""An animal's readable record as one signed file."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.domain.errors import NotAllowed, TooLarge
from scalewitness.domain.translog.bundle import MEDIA_TYPE
from scalewitness.pages.parts.access import signed_in
from scalewitness.pages.receipts.receipt import while_vouched
from scalewitness.people.models import Keeper
from scalewitness.receipts.bundles import bundled


@while_vouched
@signed_in
def download(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    try:
        made = bundled(keeper.pk, animal_id, timezone.now())
    except (NotAllowed, TooLarge) as refused:
        messages.error(request, refused.detail)
        return redirect("animal", animal_id)
    response = HttpResponse(made, content_type=MEDIA_TYPE)
    response["Content-Disposition"] = f'attachment; filename="record-{animal_id}.bundle"'
    return response
