"""How a letter writes times, days and weights for its reader."""

from scalewitness.domain.habits import Habits
from scalewitness.mail.models import Letter
from scalewitness.people.queries import habits_of, keeper_of
from scalewitness.sales.models import Buyer


def habits_of_reader(letter: Letter) -> Habits:
    """As they chose on their account; a buyer without one reads the record's."""
    keeper = keeper_of(letter.recipient)
    if keeper is None:
        buyer = Buyer.objects.filter(pk=letter.recipient).select_related("keeper").first()
        keeper = buyer.keeper if buyer else None
    return habits_of(keeper)
