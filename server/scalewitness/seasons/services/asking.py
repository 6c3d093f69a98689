"""Asking the worker for the best plan."""

from datetime import datetime
from uuid import UUID

from scalewitness.animals.models import Collection
from scalewitness.seasons.models import SeasonOutlook


def ask_for_best(collection: Collection, year: int, reader: UUID, now: datetime) -> None:
    """It is worked out at the worker's next turn, and shown until the season is anew."""
    SeasonOutlook.objects.update_or_create(
        collection=collection, year=year, reader_id=reader, defaults={"asked_best": now}
    )
