"""Asking the worker for the best plan."""

from datetime import datetime
from uuid import UUID

from scalewitness.animals.models import Collection
from scalewitness.domain.errors import NotFound
from scalewitness.seasons.models import SeasonOutlook
from scalewitness.seasons.queries.outlooks import YEARS_AHEAD, years_ahead


def ask_for_best(collection: Collection, year: int, reader: UUID, now: datetime) -> None:
    """It is worked out at the worker's next turn, and shown until the season is anew.

    Raises:
        NotFound: no season of that year is worked out.
    """
    if year not in years_ahead(now):
        raise NotFound(f"Worked out are the seasons of this year and the next {YEARS_AHEAD}.")
    SeasonOutlook.objects.update_or_create(
        collection=collection, year=year, reader_id=reader, defaults={"asked_best": now}
    )
