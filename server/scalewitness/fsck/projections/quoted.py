"""What was quoted of other logs."""

from uuid import UUID

from scalewitness.domain.identifiers import plain_code
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, row_of_fact
from scalewitness.fsck.reading import LoggedFact
from scalewitness.quoted.models import Quote


def record_quoted(fact: LoggedFact, past: Past) -> Rows:
    body = fact.raw
    more = {name: body[name] for name in ("origin", "size", "scheme")}
    more |= {"sha256": body["bundle"], "there": UUID(body["animal"])}
    more |= {"code": plain_code(body["scheme"], body["code"])}
    yield Row(Quote, row_of_fact(fact, animal_id=fact.about, by=fact.by, at=fact.at, **more))
