"""In which time zone a letter tells its reader when something was."""

from datetime import tzinfo

from scalewitness.mail.models import Letter
from scalewitness.people.queries import keeper_of, zone_of
from scalewitness.sales.models import Buyer


def zone_of_reader(letter: Letter) -> tzinfo:
    """As they chose on their account; a buyer without one reads the record's."""
    keeper = keeper_of(letter.recipient)
    if keeper is None:
        buyer = Buyer.objects.filter(pk=letter.recipient).select_related("keeper").first()
        keeper = buyer.keeper if buyer else None
    return zone_of(keeper)
