"""Calls counted, for those who see the animals whole."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Exists, OuterRef

from scalewitness.animals.models import Animal
from scalewitness.calls.models import OF_IT, Call


def not_examined_since(collections: Iterable[UUID], then: datetime) -> dict[UUID, int]:
    """By collection, how many of its animals no call examined since; those that ended left out."""
    since = Call.objects.filter(OF_IT, animal=OuterRef("pk"), examined_at__gt=then)
    there = Animal.objects.filter(collection__in=list(collections), ended="")
    rows = there.filter(~Exists(since)).order_by().values_list("collection")
    return dict(rows.annotate(number=Count("pk")))
