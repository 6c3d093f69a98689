"""In whose name facts enter the log: only of keepers who proved that their address is theirs.

Else somebody could sign up with another's address and speak for them, for good.
"""

from uuid import UUID

from scalewitness.domain.errors import AddressUnconfirmed
from scalewitness.ledger.queries.prepared import PreparedQuery
from scalewitness.people.queries import CONFIRMED


def check_confirmed(keeper: UUID | None) -> None:
    """Refuses all that is sent, never one item, since clients take an item's refusal as final.
    None: a buyer by their link, whom a letter reached.

    Raises:
        AddressUnconfirmed: the keeper has not confirmed their address yet.
    """
    if keeper is not None and not CONFIRMED.ask(keeper=keeper):
        raise AddressUnconfirmed()


def confirmed_question(keeper: UUID | None) -> list[PreparedQuery]:
    """What `check_confirmed` will ask."""
    return [] if keeper is None else [CONFIRMED.question(keeper=keeper)]
