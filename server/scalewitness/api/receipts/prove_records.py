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
from scalewitness.receipts.rested_on import rested_on
from scalewitness.receipts.whole import whole_records

ANIMALS = Ids("animals", "The animals.", least=1, most=100)
ENTRIES = OneOf("entries", "Whether the facts that I may read come along.", ("no", "yes"))
RESTED_ON = OneOf(
    "rested_on",
    "Whether what the standings in force rest on comes along, to compute them again.",
    ("no", "yes"),
)


@operation(
    "Prove that records are whole",
    gives={200: Proofs},
    refuses=(Fenced, LogContradicted),
    query=(ANIMALS, ENTRIES, RESTED_ON),
)
def prove_records(request: Request) -> Response:
    """For the animals among those named that I see whole, or made a check of: what shows, with the
    facts that the feed gave me, that these and no others are on record as of the checkpoint.
    Who keeps no facts asks for them again with `entries`.
    The rest are left out; so is every animal that I am to check without knowing what was said."""
    wanted, with_entries = ANIMALS.read(request), ENTRIES.read(request) == "yes"
    with_standings = RESTED_ON.read(request) == "yes"
    now, keeper = timezone.now(), keeper_of(request).pk
    with stated_tree(now) as tree:
        found = whole_records(keeper, wanted, tree, now)
        beside = rested_on(keeper, found, now) if with_standings else None
        return Response(proofs(tree, found, with_entries=with_entries, standings=beside))
