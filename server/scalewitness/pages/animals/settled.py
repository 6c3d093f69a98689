"""Examiners' own records behind an answer, in words: by name to keepers, by role to buyers."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.used import RecordUsed
from scalewitness.examiners.settled import Settled
from scalewitness.pages.animals.evidence import CallInWords


@dataclass(frozen=True, slots=True)
class OwnRecord:
    """Whose record by which method, what it counts, and the calls weighed by it."""

    who: str
    examiner: UUID
    method: str
    text: str
    calls: str


@dataclass(frozen=True, slots=True)
class OwnRecords:
    rows: tuple[OwnRecord, ...]
    withheld: bool


def own_records(settled: Settled, calls: list[CallInWords]) -> OwnRecords:
    """``calls``: the animal's, named as the reader may read them."""
    by_id = {str(one.call.pk): one for one in calls}
    return OwnRecords(tuple(_row(one, by_id) for one in settled.records), settled.withheld)


def _row(used: RecordUsed, calls: Mapping[str, CallInWords]) -> OwnRecord:
    weighed = [calls[one] for one in used.calls]
    return OwnRecord(
        who=weighed[0].who,
        examiner=weighed[0].call.examiner,
        method=METHODS[used.method].name,
        text=_text(used),
        calls=", ".join(one.key for one in weighed),
    )


def _text(used: RecordUsed) -> str:
    counted = f"{used.sex}s settled by others"
    if used.wrong is not None and used.right is not None:
        counted = f"{counted}: {used.right} called right, {used.wrong} wrong, blind"
    return (
        f"{counted}; error rate {used.mean:.1%}, with 95 in 100 confidence between "
        f"{used.low:.1%} and {used.high:.1%}"
    )
