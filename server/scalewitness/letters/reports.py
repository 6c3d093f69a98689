"""Letters about calls that others spoke of: whom they name, or who compared their photos."""

from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from django.db import transaction

from scalewitness.calls.models import Call
from scalewitness.domain.sales import LIVE
from scalewitness.fresh_ids import fresh_id
from scalewitness.letters.animals import as_sold, concerned, describe, notify_concerned
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import notify_buyer
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import Practitioner, PractitionerLink
from scalewitness.people.queries import address_of, keeper_of, names_of, practitioners_asked
from scalewitness.people.services import open_practitioner_link
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force, progress_of, sales_of_animal


class Kinds(NamedTuple):
    """The letter to keepers, and to buyers."""

    kind: str
    buyers_kind: str


ASK_AGAIN = timedelta(days=1)
"""At most one letter a day to a practice, however many calls name it (our judgement)."""
LASTS = timedelta(days=60)
"""How long the link in it works (our judgement: practices answer when they have time)."""


def ask_practitioners(now: datetime) -> int:
    """Write to each practitioner whose address the operator entered about calls in their name
    that no letter was about yet; how many letters. Safe to repeat and to run twice at once."""
    asked = sum(_ask(one, now) for one in sorted(practitioners_asked()))
    if asked:
        mail.wake()
    return asked


@transaction.atomic
def _ask(practitioner: UUID, now: datetime) -> bool:
    """One letter about all of them, which says nothing of any animal: its reader may be a guest
    who is still blind to it."""
    named = Practitioner.objects.select_for_update().get(pk=practitioner)
    address = address_of(practitioner)
    if address is None:
        return False
    last = PractitionerLink.objects.filter(address=address).order_by("-made_at").first()
    if last is not None and last.made_at > now - ASK_AGAIN:
        return False
    calls = Call.objects.filter(examiner=practitioner, withdrawal=None, refiled=None)
    calls = calls.exclude(attestations__kind="report_answered")
    new = calls.filter(position__gt=last.upto if last else -1).order_by("position")
    if not new:
        return False
    link = open_practitioner_link(address, fresh_id(now), new[len(new) - 1].position, now, LASTS)
    mail.queue(
        id=fresh_id(now),
        kind="report_to_answer",
        cause=link.pk,
        recipient=named.pk,
        to=address.email,
        context={
            "to_name": named.name,
            "senders": [
                {"id": str(one), "name": name}
                for one, name in sorted(names_of(call.by for call in new).items(), key=_by_name)
            ],
            "count": len(new),
            "until": link.expires_at.isoformat(),
            "reports_link": str(link.pk),
        },
        now=now,
    )
    return True


def _by_name(named: tuple[UUID, str]) -> tuple[str, UUID]:
    return named[1], named[0]


def notify_of_answer(call: Call, fact: UUID, answer: str, owing: Owing) -> None:
    """That whom it names denied it, or confirmed it after all."""
    stated = {"answer": answer, "role": call.role}
    kinds = Kinds(kind="report_answered", buyers_kind="report_answered_buyer")
    _notify_of(call, kinds, fact, stated, owing)


def notify_of_comparison(call: Call, fact: UUID, answer: str, owing: Owing) -> None:
    """That somebody who compared photos saw another animal, or the same after all."""
    kinds = Kinds(kind="photos_compared", buyers_kind="photos_compared_buyer")
    _notify_of(call, kinds, fact, {"answer": answer}, owing)


def _notify_of(call: Call, kinds: Kinds, fact: UUID, stated: dict[str, str], owing: Owing) -> None:
    """Holder, partners, earlier sellers, whoever sent the call, and buyers to whom the animal was
    offered after it. No letter tells a sex."""
    sales = sales_of_animal(call.animal_id)
    context = stated | {"method": call.method, "examined_at": call.examined_at.isoformat()}
    readers = concerned(call.animal, owing, sales)
    notify_concerned(readers, call.animal, kinds.kind, fact, context, owing)
    for sale in sales:
        if _rests_on(sale, call):
            bought = {"animal": as_sold(call.animal, sale)}
            notify_buyer(sale, kinds.buyers_kind, fact, context | bought, owing)
    sender = keeper_of(call.by)
    if sender is None or sender.pk in {one.keeper.pk for one in readers}:
        return
    known = [one for one in call.animal.identifiers.all() if one.position < call.position]
    described = describe(call.animal, named=False, codes=known)
    owing.owe(
        kinds.kind,
        cause=fact,
        recipient=sender.pk,
        to=sender.email,
        context={"to_name": sender.name, "animal": described, "call": str(call.pk), **context},
    )


def _rests_on(sale: Sale, call: Call) -> bool:
    offer = offer_in_force(sale)
    return offer is not None and offer.position > call.position and progress_of(sale).state in LIVE
