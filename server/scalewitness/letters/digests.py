"""What waits for each keeper, in one letter a week. It can be turned off: whatever is owed goes
out by itself."""

from collections import Counter
from datetime import datetime
from uuid import UUID, uuid5

from scalewitness.disclosures.queries import disclosures_in
from scalewitness.disputes.queries.disputes import disputes_seen
from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.queries import letters_for
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import Keeper
from scalewitness.sales.queries import progress_of, sales_seen


def owe_digests(now: datetime) -> int:
    """Owe this week's letter to every keeper who has something waiting and wants one; how
    many there are. A second run in the same week owes nothing more."""
    week = "{}-W{:02d}".format(*now.isocalendar())
    found = 0
    for keeper in Keeper.objects.filter(is_active=True, digest=True).order_by("pk"):
        counts = waiting_for(keeper.pk, now)
        if counts:
            found += 1
            mail.queue(
                id=fresh_id(now),
                kind="digest",
                cause=uuid5(keeper.pk, week),
                recipient=keeper.pk,
                to=keeper.email,
                context={"to_name": keeper.name, "counts": counts},
                now=now,
            )
    if found:
        mail.wake()
    return found


def waiting_for(keeper: UUID, now: datetime) -> dict[str, int]:
    """How much of each waits, without what there is none of."""
    sales = sales_seen(keeper, now)
    owed = [one for one in disclosures_in(sales) if not hasattr(one, "acknowledgement")]
    letters = letters_for(one.pk for one in owed)
    lost = [one for one in owed if any(letter.undelivered for letter in letters.get(one.pk, []))]
    held = [one for one in map(progress_of, sales) if one.is_held]
    disputes = [one for one, _ in disputes_seen(keeper, now) if not hasattr(one, "finding")]
    counts = Counter(
        undelivered=len(lost),
        unacknowledged=len(owed) - len(lost),
        held_sales=len(held),
        disputes=len(disputes),
    )
    return dict(+counts)
