"""Examiners' settled records behind an answer, as far as its reader may know them."""

from uuid import UUID

from msgspec import Struct

from scalewitness.calls.queries.visibility import Reader, still_blind
from scalewitness.domain.sexing.used import RecordUsed
from scalewitness.examiners.figures import tells_of
from scalewitness.standings.queries.dossier import Dossier


class Settled(Struct, frozen=True):
    """``withheld``: of some examiner here no record is shown, whether there is one or not,
    while the reader has animals to check blind."""

    records: tuple[RecordUsed, ...]
    withheld: bool


def settled_behind(known: Dossier, reader: Reader | None) -> Settled:
    """The records that entered the answer; ``reader`` None: someone without an account."""
    examiners = {shown.call.examiner for shown in known.calls}
    hidden = set() if reader is None else hidden_from(examiners, reader)
    records = (one for one in known.assessment.settled if UUID(one.examiner) not in hidden)
    return Settled(tuple(records), bool(hidden))


def hidden_from(examiners: set[UUID], reader: Reader) -> set[UUID]:
    """The examiners of whose records the reader is to be told nothing now.

    The answer is the same for everyone but oneself."""
    blind = still_blind(reader)
    return {one for one in examiners if tells_of(blind, reader.keeper, one)} if blind else set()
