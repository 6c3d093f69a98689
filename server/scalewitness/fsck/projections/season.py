"""What was seen of pairings in their season."""

from datetime import date
from uuid import UUID

from scalewitness.breeding.models import SeasonNote, SeasonNoteEnd
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, row_of_fact
from scalewitness.fsck.reading import LoggedFact

NOT_COUNTED = frozenset({"what", "on", "corrected"})


def season_noted(fact: LoggedFact, past: Past) -> Rows:
    counted = {name: value for name, value in fact.raw.items() if name not in NOT_COUNTED}
    seen = {"what": fact.raw["what"], "on": date.fromisoformat(fact.raw["on"]), "counted": counted}
    by = {"pairing_id": fact.about, "by": fact.by, "at": fact.at}
    yield Row(SeasonNote, row_of_fact(fact, **by, **seen))


def season_note_withdrawn(fact: LoggedFact, past: Past) -> Rows:
    by = {"note_id": UUID(fact.body.noted), "by": fact.by, "at": fact.at}
    yield Row(SeasonNoteEnd, row_of_fact(fact, **by))
