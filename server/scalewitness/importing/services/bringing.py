"""Taking a list in, as far as being looked at; nothing of it is on record by this."""

import zlib
from collections.abc import Mapping
from datetime import datetime
from typing import Final
from uuid import UUID

import msgspec

from scalewitness.animals.models import Collection
from scalewitness.domain.tables.plan import Answers
from scalewitness.domain.tables.sheets import ListFile
from scalewitness.importing.models import Upload
from scalewitness.importing.queries import KEPT_FOR
from scalewitness.people.models import Keeper

MOST_KEPT: Final = 5
"""Lists of one keeper at a time (our judgement: they are not a store of files)."""


def bring(
    id: UUID, keeper: Keeper, collection: Collection, name: str, table: ListFile, now: datetime
) -> Upload:
    """Keep a list for a day, and of one keeper the last few."""
    kept = Upload.objects.filter(keeper=keeper).order_by("-brought_at")
    beyond = list(kept.values_list("pk", flat=True)[MOST_KEPT - 1 :])
    Upload.objects.filter(pk__in=beyond).delete()
    packed = zlib.compress(msgspec.json.encode(table))
    return Upload.objects.create(
        id=id, keeper=keeper, collection=collection, name=name, table=packed, brought_at=now
    )


def answer(upload: Upload, answers: Answers) -> None:
    """What its keeper decided, in place of what they decided before. Lines that the record did not
    take may say something else by that: they are tried anew."""
    upload.answers = msgspec.to_builtins(answers, str_keys=True)
    upload.refused = {}
    upload.save(update_fields=["answers", "refused"])


def forget(upload: Upload) -> None:
    upload.delete()


def forget_old(now: datetime) -> int:
    """Those that were kept for long enough; how many."""
    return Upload.objects.filter(brought_at__lte=now - KEPT_FOR).delete()[0]


def note(
    upload: Upload, stored: list[int], refused: Mapping[int, str], elsewhere: list[str]
) -> None:
    """What became of some lines; within the transaction that stored them."""
    upload.stored = [*upload.stored, *stored]
    upload.refused = upload.refused | {str(number): why for number, why in refused.items()}
    upload.elsewhere = [*upload.elsewhere, *elsewhere]
    upload.save(update_fields=["stored", "refused", "elsewhere"])
