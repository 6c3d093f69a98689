"""That records of animals are whole."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Ids, OneOf
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.ledger.services.opening import stated_tree
from scalewitness.receipts.proofs import Proofs, proofs
from scalewitness.receipts.whole import whole_records

ANIMALS = Ids("animals", "The animals.", least=1, most=100)
ENTRIES = OneOf("entries", "Whether the facts that I may read come along.", ("no", "yes"))


@operation(
    "Prove that records are whole",
    gives={200: Proofs},
    refuses=(Fenced, LogContradicted),
    query=(ANIMALS, ENTRIES),
)
def prove_records(request: Request) -> Response:
    """For the animals among those named that I see whole, or made a check of: what shows, with the
    facts that the feed gave me, that these and no others are on record as of the checkpoint.
    Who keeps no facts asks for them again with `entries`.
    The rest are left out; so is every animal that I am to check without knowing what was said."""
    wanted, with_entries = ANIMALS.read(request), ENTRIES.read(request) == "yes"
    now = timezone.now()
    with stated_tree(now) as tree:
        found = whole_records(keeper_of(request).pk, wanted, tree, now)
        return Response(proofs(tree, found, with_entries=with_entries))
