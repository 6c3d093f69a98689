"""What a pairing of two animals should bring."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Id, OneOf, Whole, bad_parameter
from scalewitness.api.shapes.breeding import ProspectsShown, prospects_shown
from scalewitness.breeding.queries.brings import clutch_of, young_expected
from scalewitness.breeding.queries.prospects import more_male_first, prospects_of
from scalewitness.domain.errors import Malformed

MATE = Id("mate", "The other animal.", required=True)
SEASON = Whole(
    "season", "The year in which the young are expected: else the next.", None, 1990, 9000
)
YOUNG = Whole(
    "young", "Eggs, or young born: else as the sheet has it of the species.", None, 1, 120
)
LEAST = Whole("least", "Of what is wanted, at least so many.", 1, 1, 120)
CROSS = OneOf("cross", "Whether they are meant to be of two species.", ("no", "yes"))


@operation(
    "Show what a pairing should bring",
    gives={200: ProspectsShown},
    query=(MATE, SEASON, YOUNG, LEAST, CROSS),
    refuses=(Malformed,),
)
def show_prospects(request: Request, id: UUID) -> Response:
    """Of two animals that one sees whole, planned or not: looks, genotypes and sexes of the young,
    times the chance that the two are a male and a female, with their kinship and what speaks
    against pairing them now. Nothing is recorded."""
    mate, now = MATE.need(request), timezone.now()
    season = SEASON.read(request) or now.year + 1
    pair = prospects_of(keeper_of(request).pk, *more_male_first(id, mate), season, now)
    if pair.why == "cross" and CROSS.read(request) != "yes":
        raise bad_parameter(CROSS.name, "They are of two species: say that a cross is meant.")
    clutch = clutch_of(pair.sire.animal.species, YOUNG.read(request))
    least = LEAST.need(request)
    young = young_expected(pair, pair.brings, clutch, least) if pair.brings else None
    return Response(prospects_shown(pair, clutch, young))
