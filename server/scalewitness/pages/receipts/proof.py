"""The proof that the record of an animal is whole, for the browser of a keeper who is shown it."""

from uuid import UUID

import msgspec
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.ledger.services.opening import stated_tree
from scalewitness.pages.parts.access import signed_in
from scalewitness.people.models import Keeper
from scalewitness.receipts.proofs import Proofs, proofs
from scalewitness.receipts.rested_on import rested_on
from scalewitness.receipts.whole import whole_records


@signed_in
def prove_record(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """As the API gives it to devices, with the entries: a browser has none. What the standing rests
    on is for whoever saves the file: the command computes it again."""
    now = timezone.now()
    animal = animal_open(keeper.pk, animal_id, now)
    try:
        with stated_tree(now) as tree:
            found = whole_records(keeper.pk, [animal.pk], tree, now)
            beside = rested_on(keeper.pk, found, now)
            return _json(proofs(tree, found, with_entries=True, standings=beside))
    except (LogContradicted, Fenced) as fault:
        return _json({"code": fault.code}, fault.status)


def _json(content: Proofs | dict[str, str], status: int = 200) -> HttpResponse:
    answer = msgspec.json.encode(content)
    return HttpResponse(answer, content_type="application/json", status=status)
