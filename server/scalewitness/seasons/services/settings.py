"""What is wanted of a season: the writes."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from scalewitness.animals.models import Collection
from scalewitness.domain.errors import VersionStale
from scalewitness.fresh_ids import fresh_id
from scalewitness.ledger.services.writing import take_turn
from scalewitness.people.models import Keeper
from scalewitness.seasons.models import Season


def edit_season(
    collection: Collection,
    year: int,
    fields: Mapping[str, Any],
    *,
    version: int,
    by: Keeper,
    now: datetime,
) -> Season:
    """Edit it under its version, 0 where it was never edited; earlier values stay in its history.

    Raises:
        VersionStale: it is no longer at ``version``.
    """
    with transaction.atomic():
        take_turn()
        found = Season.objects.select_for_update().filter(collection=collection, year=year).first()
        new = found is None
        season = found or Season(pk=fresh_id(now), collection=collection, year=year, version=0)
        if season.version != version:
            raise VersionStale(version=season.version)
        for name, value in fields.items():
            setattr(season, name, value)
        season.version += 1
        season._history_user, season._history_date = by, now
        season.save(force_insert=new)
    return season
