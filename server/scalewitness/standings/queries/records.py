"""Examiners' settled records in force. What they count is made up in `settling`."""

from collections.abc import Collection
from functools import lru_cache
from uuid import UUID

import msgspec
from django.db.models import QuerySet

from scalewitness.domain.facts import ExaminerRecordChanged
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords, as_weighed
from scalewitness.ledger.queries.prepared import Prepared
from scalewitness.standings.models import ExaminerRecord


def records_up_to(newest: UUID | None, numbers: Parameters) -> ExaminerRecords:
    """What standings weigh examiners by where that record is the newest; None: there is none."""
    return _up_to(newest, numbers) if newest else EMPTY


NEWEST = Prepared(lambda: ExaminerRecord.objects.order_by("-position").values_list("pk")[:1])


@lru_cache(maxsize=32)
def _up_to(newest: UUID, numbers: Parameters) -> ExaminerRecords:
    """Cached by the newest record's id: rows never change, so neither does the answer."""
    position = ExaminerRecord.objects.values_list("position", flat=True).get(pk=newest)
    return as_weighed(position, latest_records(position), numbers)


def latest_records(
    at: int | None = None, of: Collection[UUID] | None = None
) -> dict[UUID, ExaminerRecordChanged]:
    """Each examiner's latest record, or that ``of`` some, as the fact gave it."""
    rows = _rows(at) if of is None else _rows(at).filter(examiner__in=of)
    rows = rows.order_by("examiner", "-position").distinct("examiner")
    return {
        row.examiner: msgspec.convert(
            {"role": row.role, "counts": row.counts, "hosts": row.hosts}, ExaminerRecordChanged
        )
        for row in rows
    }


def _rows(at: int | None) -> QuerySet[ExaminerRecord]:
    rows = ExaminerRecord.objects.all()
    return rows if at is None else rows.filter(position__lte=at)
