"""Papers to print and keep: the record of an animal, a dispute with its receipts."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound
from scalewitness.pages.disputes.dispute import dispute_seen, shown_of
from scalewitness.pages.guards.habits import as_recorded
from scalewitness.pages.offers.offer import by_link
from scalewitness.pages.papers.dispute import dispute_folder, dispute_paper
from scalewitness.pages.papers.record import record_for_buyer, record_for_keepers
from scalewitness.pages.parts.access import signed_in
from scalewitness.pages.receipts.receipt import while_vouched
from scalewitness.people.models import Keeper
from scalewitness.sales.models import OfferLink


@signed_in
def print_record(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    now = timezone.now()
    animal = animal_open(keeper.pk, animal_id, now)
    return _paper(record_for_keepers(animal, now), f"record-{animal_id}")


@by_link
def print_by_link(
    request: HttpRequest, token: str, link: OfferLink, animal_id: UUID
) -> HttpResponse:
    animal = link.sale.animals.filter(pk=animal_id).select_related("collection").first()
    if animal is None:
        raise NotFound()
    paper = record_for_buyer(animal, link.sale, token, timezone.now())
    return _paper(paper, f"record-{animal_id}")


@signed_in
def print_dispute(request: HttpRequest, keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    dispute = dispute_seen(keeper, dispute_id)
    paper = dispute_paper(dispute, shown_of(dispute, keeper), timezone.now())
    return _paper(paper, f"dispute-{dispute_id}")


@as_recorded
@while_vouched
@signed_in
def fetch_folder(request: HttpRequest, keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    dispute, now = dispute_seen(keeper, dispute_id), timezone.now()
    paper = dispute_paper(dispute, shown_of(dispute, keeper), now)
    folder = dispute_folder(dispute, paper, keeper.pk, now)
    response = HttpResponse(folder, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="dispute-{dispute_id}.zip"'
    return response


def _paper(data: bytes, name: str) -> HttpResponse:
    response = HttpResponse(data, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response
