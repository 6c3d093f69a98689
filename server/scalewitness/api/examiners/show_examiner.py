"""One examiner: their record, and how far to trust it."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.examiners import ExaminerShown, examiner
from scalewitness.examiners.figures import examiner_seen, reproducible


@operation("Show an examiner", gives={200: ExaminerShown})
def show_examiner(request: Request, id: UUID) -> Response:
    """For themself and whoever sees whole an animal with a call of theirs. Beside the logged
    record, figures are over the animals the asker sees whole."""
    known = examiner_seen(keeper_of(request).pk, id, timezone.now(), reproducible())
    return Response(examiner(known))
