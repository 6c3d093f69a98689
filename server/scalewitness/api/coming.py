"""Who comes to check animals and what that costs: what both plans ask."""

from rest_framework.request import Request

from scalewitness.api.parameters import Opaque, RequestParameter, Whole, bad_parameter
from scalewitness.planning.available import PARTIES, SUPPOSED_PRICES, Examiners, Prices

BY = Opaque(
    "by",
    "Who comes: one or more `key`s of the answer's `examiners`, with commas between. When absent, "
    "those of them that are `expected`: everyone but a veterinarian.",
    most=2000,
)
_MOST = 10**9
PRICES = {
    party: Whole(
        f"price_{party}",
        f"What one check by this party costs ({party}), in any money.",
        default=round(SUPPOSED_PRICES.by[party]),
        most=_MOST,
    )
    for party in PARTIES
}
WRONG_SEX = Whole(
    "wrong_sex",
    "What a wrong sex costs, in the same money: only how the prices compare with it counts.",
    default=round(SUPPOSED_PRICES.wrong_sex),
    least=1,
    most=_MOST,
)
COMING: tuple[RequestParameter, ...] = (BY, *PRICES.values(), WRONG_SEX)


def prices_in(request: Request) -> Prices:
    """Raises Malformed."""
    by = {party: float(asked.need(request)) for party, asked in PRICES.items()}
    return Prices(by, float(WRONG_SEX.need(request)))


def today_in(request: Request, who: Examiners) -> list[str]:
    """The keys of those who come. Raises Malformed where one stands for nobody."""
    given = BY.read(request)
    if given is None:
        return who.expected
    keys = given.split(",")
    if not set(keys) <= who.names.keys():
        raise bad_parameter(BY.name, "They are keys of the examiners, with commas between.")
    return keys
