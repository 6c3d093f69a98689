"""How far the examiners of a collection agree."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.shapes.agreement import AgreementShown, agreement
from scalewitness.examiners.agreement import agreement_in
from scalewitness.examiners.figures import reproducible


@operation("Show how examiners agree", gives={200: AgreementShown})
def show_agreement(request: Request, id: UUID) -> Response:
    """Over each examiner's first blind conclusion on each animal the collection holds now.
    For its keeper and partners."""
    found = own_collection(request, id)
    return Response(agreement(found.pk, agreement_in(found.pk, reproducible())))
